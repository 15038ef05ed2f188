// Steps, sweeps and holds found in motions that are known, under noise.

#include "harness/recording/find_spans.hpp"

#include <functional>
#include <random>

#include "harness/capture/memory_capture.hpp"
#include "tests/catch.hpp"

using namespace trackrod;
using namespace std::chrono_literals;

namespace {

// Values of a made-up motion, in deg at s; known in pieces.
struct Motion {
  std::vector<double> y;
  double dt{0.001};
  double at() const { return y.empty() ? 0.0 : y.back(); }
  double now() const { return dt * static_cast<double>(y.size()); }
  Motion& hold(double s) {
    for (double t = 0.0; t < s - 0.5 * dt; t += dt) y.push_back(at());
    return *this;
  }
  // At a steady rate.
  Motion& go(double to, double rate) {
    const double from = at(), s = std::abs(to - from) / rate;
    for (double t = dt; t < s + 0.5 * dt; t += dt) y.push_back(from + (to - from) * std::min(1.0, t / s));
    return *this;
  }
  Motion& triangle(double amplitude, double rate, int cycles) {
    const double centre = at();
    for (int i = 0; i < cycles; ++i) go(centre + amplitude, rate).go(centre - amplitude, rate).go(centre, rate);
    return *this;
  }
  Motion& sine(double amplitude, double hertz, int cycles) {
    const double centre = at(), s = cycles / hertz;
    for (double t = dt; t < s + 0.5 * dt; t += dt) y.push_back(centre + amplitude * std::sin(2.0 * M_PI * hertz * t));
    return *this;
  }
};

std::unique_ptr<MemoryCapture> capture_of(const Motion& motion, double noise, double resolution, unsigned seed) {
  StreamHeader header;
  SignalInfo info;
  info.name = "hand.angle";
  info.unit = "deg";
  info.resolution = resolution;
  header.signals = {info};
  auto capture = std::make_unique<MemoryCapture>(header);
  std::mt19937 random{seed};
  std::normal_distribution<double> normal{0.0, 1.0};
  for (std::size_t i = 0; i < motion.y.size(); ++i) {
    double v = motion.y[i] + noise * normal(random);
    if (resolution > 0.0) v = resolution * std::round(v / resolution);
    REQUIRE(capture->put(
        Record{Sample{BenchTime{from_seconds(motion.dt * static_cast<double>(i))}, v, 0, 0, StampedBy::device}}));
  }
  return capture;
}

double in_seconds(BenchTime t) { return seconds(t.time_since_epoch()); }

struct Sensor {
  double noise, resolution;
};
const auto sensors = {Sensor{0.0, 0.0}, Sensor{0.005, 0.0}, Sensor{0.2, 0.0}, Sensor{0.0, 0.1}, Sensor{0.1, 0.1}};

}  // namespace

TEST_CASE("every step is found, with its size, from rest to rest", "[find]") {
  const unsigned seed = std::random_device{}();
  CAPTURE(seed);
  for (const auto& sensor : sensors) {
    CAPTURE(sensor.noise, sensor.resolution);
    Motion m;
    m.hold(1.0);
    std::vector<double> sizes, onsets, ends;
    for (int i = 0; i < 3; ++i)
      for (const double to : {30.0, 0.0, -30.0, 0.0}) {
        onsets.push_back(m.now());
        sizes.push_back(to - m.at());
        m.go(to, 400.0).hold(1.2);
        ends.push_back(m.now());
      }
    const auto found = find_spans(*capture_of(m, sensor.noise, sensor.resolution, seed), {SpanKind::steps, 0, {}});
    REQUIRE(found);
    REQUIRE(found->all.size() == 12);
    for (std::size_t i = 0; i < 12; ++i) {
      const auto& f = found->all[i];
      CHECK(f.span.step == "step-" + std::to_string(i + 1));
      CHECK(f.size == Approx(sizes[i]).margin(0.5));
      CHECK(std::abs(f.rate) == Approx(400.0).epsilon(0.1));
      CHECK(in_seconds(f.span.from) < onsets[i]);
      CHECK(in_seconds(f.span.from) > onsets[i] - 0.15);
      CHECK(in_seconds(f.span.to) <= ends[i]);
      CHECK(in_seconds(f.span.to) > ends[i] - 0.15);
    }
  }
}

TEST_CASE("sweeps of different rates are found apart, in whole cycles", "[find]") {
  const unsigned seed = std::random_device{}();
  CAPTURE(seed);
  for (const auto& sensor : sensors) {
    CAPTURE(sensor.noise, sensor.resolution);
    Motion m;
    std::vector<double> begins, ends;
    for (const double rate : {15.0, 30.0, 60.0}) {
      m.hold(1.0);
      begins.push_back(m.now());
      m.triangle(40.0, rate, 4);
      ends.push_back(m.now());
    }
    m.hold(1.0);
    const auto found =
        find_spans(*capture_of(m, sensor.noise, sensor.resolution, seed), {SpanKind::sweeps, 0, {"slow", "-", "fast"}});
    REQUIRE(found);
    REQUIRE(found->all.size() == 2);
    for (const std::size_t i : {0, 1}) {
      const auto& f = found->all[i];
      const double rate = i == 0 ? 15.0 : 60.0;
      CHECK(f.span.step == (i == 0 ? "slow" : "fast"));
      CHECK(f.size == Approx(80.0).margin(1.0));
      CHECK(f.rate == Approx(rate).epsilon(0.02));
      CHECK(in_seconds(f.span.from) > begins[2 * i]);
      CHECK(in_seconds(f.span.to) < ends[2 * i]);
      CHECK(seconds(f.span.to - f.span.from) ==
            Approx(3.0 * 160.0 / rate).margin(0.2));  // of four cycles, three from turn to turn
    }
  }
}

TEST_CASE("a weave of sines is one sweep, and steps are none", "[find]") {
  Motion m;
  m.hold(1.0).sine(20.0, 0.5, 5).hold(1.0);
  for (int i = 0; i < 4; ++i) m.go(20.0, 400.0).hold(1.2).go(-20.0, 400.0).hold(1.2);
  const auto capture = capture_of(m, 0.02, 0.0, 1);
  const auto sweeps = find_spans(*capture, {SpanKind::sweeps, 0, {"weave"}});
  REQUIRE(sweeps);
  REQUIRE(sweeps->all.size() == 1);
  CHECK(sweeps->all[0].span.step == "weave");
  CHECK(in_seconds(sweeps->all[0].span.to) < 11.0);
  CHECK(seconds(sweeps->all[0].span.to - sweeps->all[0].span.from) == Approx(8.0).margin(0.2));
  const auto steps = find_spans(*capture, {SpanKind::steps, 0, {"left", "right"}, 600ms});
  REQUIRE(steps);
  REQUIRE(steps->all.size() == 8);  // also the first, from where the weave ended
  CHECK(steps->all[0].span.step == "left");
  CHECK(steps->all[7].span.step == "right");
}

TEST_CASE("holds are found with their levels, and a slow motion is none", "[find]") {
  const unsigned seed = std::random_device{}();
  CAPTURE(seed);
  for (const auto& sensor : sensors) {
    CAPTURE(sensor.noise, sensor.resolution);
    Motion m;
    m.hold(2.0).go(10.0, 2.0).hold(3.0).go(-20.0, 200.0).hold(1.0);
    const auto found = find_spans(*capture_of(m, sensor.noise, sensor.resolution, seed), {SpanKind::holds, 0, {}});
    REQUIRE(found);
    REQUIRE(found->all.size() == 3);
    CHECK(found->all[0].size == Approx(0.0).margin(0.15));
    CHECK(found->all[1].size == Approx(10.0).margin(0.15));
    CHECK(found->all[2].size == Approx(-20.0).margin(0.15));
    CHECK(in_seconds(found->all[1].span.from) == Approx(7.0).margin(0.25));
    CHECK(in_seconds(found->all[1].span.to) == Approx(10.0).margin(0.15));
  }
}

TEST_CASE("where nothing moves there is nothing to find, and that is told", "[find]") {
  Motion m;
  m.hold(5.0);
  const auto found = find_spans(*capture_of(m, 0.1, 0.0, 1), {SpanKind::steps, 0, {}});
  REQUIRE_FALSE(found);
  CHECK(found.error().context.find("'hand.angle' does not move") == 0);
  const auto few = find_spans(*capture_of(Motion{}.hold(0.01), 0.1, 0.0, 1), {SpanKind::steps, 0, {}});
  REQUIRE_FALSE(few);
  CHECK(few.error().context == "'hand.angle' has 10 samples: too few to find spans in");
}

TEST_CASE("a gap in the recording makes no hold and no step", "[find]") {
  Motion m;
  m.hold(1.0).go(30.0, 400.0).hold(1.0);
  auto whole = capture_of(m, 0.01, 0.0, 1);
  MemoryCapture torn{whole->header()};
  const auto points = whole->points(0, whole->begin(), whole->end());
  for (const auto& p : *points)
    if (const double t = in_seconds(p.when); t < 0.1 || t > 0.9)
      REQUIRE(torn.put(Record{Sample{p.when, p.value, 0, 0, StampedBy::device}}));
  const auto holds = find_spans(torn, {SpanKind::holds, 0, {}});
  REQUIRE(holds);
  REQUIRE(holds->all.size() == 1);
  CHECK(holds->all[0].size == Approx(30.0).margin(0.1));
  const auto steps = find_spans(torn, {SpanKind::steps, 0, {}});
  REQUIRE(steps);
  CHECK(steps->all.empty());
}

TEST_CASE("in a window is found what lies in it whole, by its own noise, and nothing of the rest") {
  // A rough stretch, then three steps, the last of which the window cuts.
  Motion motion;
  motion.hold(1.0).triangle(300.0, 600.0, 3);
  const double from = motion.now();
  motion.hold(1.0).go(3.0, 30.0).hold(1.0).go(0.0, 30.0).hold(1.0).go(3.0, 30.0);
  const double to = motion.now() - 0.05;
  motion.hold(1.0);
  const auto capture = capture_of(motion, 0.01, 0.0, 3);
  FindSettings settings;
  settings.signal = SignalIndex{0};
  // Beside triangles of 300 deg, 3 deg is no motion.
  const auto whole = find_spans(*capture, settings);
  REQUIRE(whole);
  CHECK(whole->all.empty());
  settings.from = BenchTime{from_seconds(from)};
  settings.to = BenchTime{from_seconds(to)};
  const auto found = find_spans(*capture, settings);
  REQUIRE(found);
  REQUIRE(found->all.size() == 2);
  CHECK(found->all[0].size == Approx(3.0).margin(0.05));
  CHECK(found->all[1].size == Approx(-3.0).margin(0.05));
  CHECK(found->tolerance < whole->tolerance);
  for (const auto& f : found->all) {
    CHECK(f.span.from >= *settings.from);
    CHECK(f.span.to <= *settings.to);
  }
}

TEST_CASE("a window beside the recording is refused with the times that it has") {
  const auto capture = capture_of(Motion{}.hold(1.0).go(3.0, 30.0).hold(1.0), 0.01, 0.0, 3);
  FindSettings settings;
  settings.signal = SignalIndex{0};
  settings.from = BenchTime{from_seconds(10.0)};
  const auto found = find_spans(*capture, settings);
  REQUIRE_FALSE(found);
  CHECK(found.error().fault == Fault::bad_input);
  CHECK(found.error().context.find("it lasts from 0 s to 2.") != std::string::npos);
}
