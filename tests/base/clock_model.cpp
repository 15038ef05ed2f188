// Simulated device clocks whose truth is known: drift, wander, steps, outliers, counters that begin anew.

#include "harness/base/clock_model.hpp"

#include <algorithm>
#include <cmath>
#include <cstdio>
#include <fstream>
#include <functional>
#include <random>
#include <vector>

#include "tests/catch.hpp"

using namespace trackrod;
using namespace std::chrono_literals;

namespace {

constexpr double least_delay = 300e-6;  // of the path; no method sees it, so it belongs to every modelled time

// A device that stamps each of its messages, and the way to us.
class Device {
 public:
  Device(std::uint64_t seed, int bits, double tick, double period = 1e-3)
      : random_{seed}, bits_{bits}, tick_{tick}, period_{period} {}

  struct Message {
    double truth;  // bench time, seconds, at which the device took its stamp
    std::uint64_t count;
    Stamp received;
  };
  Message next() {
    truth_ += period_ * (0.9 + 0.2 * uniform());
    const double reading = clock(truth_);
    const auto ticks = static_cast<std::uint64_t>(std::floor(reading / tick_));
    double delay = least_delay - 60e-6 * std::log(1.0 - uniform());
    if (uniform() < 0.02) delay += 5e-3 * uniform();  // the network was busy
    delay += extra_delay(truth_);
    received_ = std::max(received_, truth_ + delay);
    const auto count = bits_ == 64 ? ticks : ticks & ((std::uint64_t{1} << bits_) - 1);
    return {truth_, count, {BenchTime{from_seconds(received_)}, StampedBy::kernel, 10us}};
  }
  double uniform() { return std::uniform_real_distribution<>{0.0, 1.0}(random_); }
  double now() const { return truth_; }

  std::function<double(double)> clock = [](double t) { return t; };  // device time, seconds, at bench time
  std::function<double(double)> extra_delay = [](double) { return 0.0; };

 private:
  std::mt19937_64 random_;
  int bits_;
  double tick_, period_;
  double truth_{1000.0}, received_{0.0};
};

double error_of(const Device::Message& m, const Stamp& s) {
  return seconds(s.when.time_since_epoch()) - (m.truth + least_delay);
}

struct Outcome {
  int messages{0}, modelled{0}, outside{0};
  double worst{0.0};             // error of a modelled time
  double widest{0.0}, usual{0};  // half-widths of modelled times
};
Outcome run(Device& device, ClockModel& model, double time) {
  Outcome o;
  std::vector<double> widths;
  for (const double end = device.now() + time; device.now() < end;) {
    const auto m = device.next();
    const auto s = model.stamp(m.count, m.received);
    ++o.messages;
    const double error = error_of(m, s);
    if (s.by != StampedBy::device) {
      CHECK(s.when == m.received.when);
      continue;
    }
    ++o.modelled;
    o.outside += std::abs(error) > seconds(s.uncertainty) ? 1 : 0;
    o.worst = std::max(o.worst, std::abs(error));
    widths.push_back(seconds(s.uncertainty));
  }
  if (!widths.empty()) {
    o.widest = *std::max_element(widths.begin(), widths.end());
    std::nth_element(widths.begin(), widths.begin() + static_cast<std::ptrdiff_t>(widths.size() / 2), widths.end());
    o.usual = widths[widths.size() / 2];
  }
  return o;
}

std::uint64_t fresh_seed() { return std::random_device{}(); }

}  // namespace

TEST_CASE("a drifting device clock is modelled far better than its messages arrive") {
  const auto seed = fresh_seed();
  const double drift = GENERATE(0.0, 80e-6, -250e-6, 2e-3);
  CAPTURE(seed, drift);
  Device device{seed, 32, 1e-6};
  device.clock = [=](double t) { return 7.0 + (t - 1000.0) * (1.0 + drift); };
  ClockModel model{32, 1e-6};
  run(device, model, 3.0);
  const auto o = run(device, model, 60.0);
  CHECK(model.settled());
  CHECK(o.modelled == o.messages);
  CHECK(o.outside == 0);
  CHECK(o.worst < 25e-6);  // the messages themselves come up to 5 ms late
  CHECK(o.usual < 20e-6);
  CHECK(model.drift() == Approx(1.0 / (1.0 + drift) - 1.0).margin(2e-6));
  CHECK(model.steps() == 0);
  CHECK(model.outliers() == 0);
}

TEST_CASE("until enough is known the receipt stands as it came") {
  Device device{fresh_seed(), 32, 1e-6};
  ClockModel model{32, 1e-6};
  for (int i = 0; i < 1500; ++i) {
    const auto m = device.next();
    const auto s = model.stamp(m.count, m.received);
    CHECK(s.when == m.received.when);
    CHECK(s.by == StampedBy::kernel);
    CHECK(s.uncertainty == m.received.uncertainty);
  }
  CHECK_FALSE(model.settled());
  CHECK(model.drift() == 0.0);
}

TEST_CASE("a clock that wanders with its temperature stays within what is stated") {
  const auto seed = fresh_seed();
  CAPTURE(seed);
  Device device{seed, 32, 1e-6};
  // +-10 ppm over two minutes: what a quartz does beside a machine that warms up. Common practice, no source.
  const double pi = std::acos(-1.0);
  device.clock = [=](double t) {
    return 1.0 + t * (1.0 + 30e-6) + 10e-6 * 120.0 / (2 * pi) * std::sin(2 * pi * t / 120.0);
  };
  ClockModel model{32, 1e-6};
  run(device, model, 3.0);
  const auto o = run(device, model, 240.0);
  CHECK(o.modelled == o.messages);
  CHECK(o.outside <= o.messages / 1000);
  CHECK(o.worst < 60e-6);
  CHECK(o.widest < 120e-6 + 6e-3);  // the late messages are doubted
  CHECK(o.usual < 60e-6);
  CHECK(model.steps() == 0);
}

TEST_CASE("a step of the device clock is found, and no stamp is wrong by more than it says") {
  const auto seed = fresh_seed();
  const double step = GENERATE(0.003, -0.003, 0.2, -0.2, 30.0, -30.0);
  CAPTURE(seed, step);
  Device device{seed, 32, 1e-6};
  ClockModel model{32, 1e-6};
  run(device, model, 20.0);
  REQUIRE(model.settled());
  const double when = device.now();
  device.clock = [=](double t) { return t + (t > when ? step : 0.0); };
  const auto during = run(device, model, 3.5);
  CHECK(model.steps() == 1);
  CHECK(model.settled());
  CHECK(during.outside <= 5);  // a late message right after the step, with those behind it, hides it
  CHECK(during.modelled < during.messages);
  const auto after = run(device, model, 20.0);
  CHECK(after.modelled == after.messages);
  CHECK(after.outside == 0);
  CHECK(after.worst < 25e-6);
}

TEST_CASE("steps too small to be told widen what is stated") {
  const auto seed = fresh_seed();
  const double step = GENERATE(200e-6, -200e-6);
  CAPTURE(seed, step);
  Device device{seed, 32, 1e-6};
  ClockModel model{32, 1e-6};
  run(device, model, 20.0);
  const double when = device.now();
  device.clock = [=](double t) { return t + (t > when ? step : 0.0); };
  const auto at_once = run(device, model, 0.5);  // before the first quarter second of it is over nobody can know
  CHECK(at_once.worst < 230e-6);
  const auto during = run(device, model, 20.0);
  CHECK(during.outside <= during.messages / 200);
  const auto after = run(device, model, 10.0);
  CHECK(after.outside == 0);
  CHECK(after.worst < 25e-6);
}

TEST_CASE("single stamps that make no sense are passed over") {
  const auto seed = fresh_seed();
  CAPTURE(seed);
  Device device{seed, 32, 1e-6};
  ClockModel model{32, 1e-6};
  run(device, model, 5.0);
  int ahead = 0, wrong = 0;
  for (int i = 0; i < 30000; ++i) {
    auto m = device.next();
    const bool is_outlier = i % 500 == 250;
    if (is_outlier) {
      const double by = device.uniform() < 0.5 ? 40e-3 : -40e-3;
      ahead += by > 0 ? 1 : 0;
      m.count = static_cast<std::uint32_t>(m.count + static_cast<std::uint64_t>(std::llround(by * 1e6)));
    }
    const auto s = model.stamp(m.count, m.received);
    if (s.by == StampedBy::device && std::abs(error_of(m, s)) > seconds(s.uncertainty)) ++wrong;
  }
  CHECK(wrong == 0);
  CHECK(model.steps() == 0);
  CHECK(model.outliers() == static_cast<std::uint64_t>(ahead));
}

TEST_CASE("a path that is slow for a while is no step when it is short, and is doubted meanwhile") {
  const auto seed = fresh_seed();
  CAPTURE(seed);
  Device device{seed, 32, 1e-6};
  ClockModel model{32, 1e-6};
  run(device, model, 10.0);
  const double from = device.now();
  device.extra_delay = [=](double t) { return t > from && t < from + 0.4 ? 4e-3 : 0.0; };
  const auto o = run(device, model, 10.0);
  CHECK(model.steps() == 0);
  CHECK(o.outside == 0);
  CHECK(o.modelled == o.messages);
  CHECK(o.worst < 25e-6);
  CHECK(o.widest > 3.9e-3);
}

TEST_CASE("a counter of any width is followed over its turns, also over pauses") {
  struct Row {
    int bits;
    double tick, pause;  // seconds
  };
  const auto row = GENERATE(Row{16, 1e-6, 0.5}, Row{16, 50e-6, 1.5}, Row{24, 1e-6, 1.9}, Row{32, 1e-6, 1.9},
                            Row{32, 10e-9, 1.9}, Row{64, 1e-9, 1.9}, Row{16, 30.517578125e-6, 0.2});
  const auto seed = fresh_seed();
  CAPTURE(seed, row.bits, row.tick);
  Device device{seed, row.bits, row.tick};
  device.clock = [](double t) { return t * (1.0 - 40e-6); };
  ClockModel model{row.bits, row.tick};
  run(device, model, 5.0);
  for (int i = 0; i < 10; ++i) {
    for (const double until = device.now() + row.pause; device.now() < until;) device.next();  // lost
    const auto o = run(device, model, 1.0);
    CHECK(o.outside == 0);
    CHECK(o.modelled == o.messages);
    CHECK(o.worst < 40e-6 + row.tick);
  }
  CHECK(model.steps() == 0);
}

TEST_CASE("after a long pause the model is made anew") {
  Device device{fresh_seed(), 32, 1e-6};
  ClockModel model{32, 1e-6};
  run(device, model, 5.0);
  for (const double until = device.now() + 600.0; device.now() < until;) device.next();
  const auto m = device.next();
  CHECK(model.stamp(m.count, m.received).by == StampedBy::kernel);
  CHECK_FALSE(model.settled());
  CHECK(model.steps() == 0);
}

TEST_CASE("a tick that is declared wrong never gives a model") {
  Device device{fresh_seed(), 32, 1e-6};
  ClockModel model{32, 1.02e-6};
  const auto o = run(device, model, 30.0);
  CHECK(o.modelled == 0);
  CHECK(model.steps() > 3);
}

// Outside reference: SciPy's linear programming over all pairs of the window.
TEST_CASE("the modelled time is that of the best line below all pairs") {
  const auto seed = fresh_seed();
  CAPTURE(seed);
  const std::string name = std::tmpnam(nullptr);  // NOLINT: gone at the end
  for (int round = 0; round < 5; ++round) {
    Device device{seed + static_cast<std::uint64_t>(round), 32, 1e-6};
    const double drift = (device.uniform() - 0.5) * 200e-6;
    device.clock = [=](double t) { return (t - 1000.0) * (1.0 + drift); };
    std::ofstream file{name};
    file.precision(15);
    Stamp last;
    ClockModel model{32, 1e-6};
    for (const double end = device.now() + 15.9; device.now() < end;) {  // not longer than the model's memory
      const auto m = device.next();
      last = model.stamp(m.count, m.received);
      file << static_cast<double>(m.count) * 1e-6 << ' ' << seconds(m.received.when.time_since_epoch()) << '\n';
    }
    file.close();
    REQUIRE(last.by == StampedBy::device);
    double expected{};
    if (FILE* pipe =
            popen(("/usr/bin/python3 " TRACKROD_SOURCE_DIR "/tests/base/clock_model.py " + name).c_str(), "r")) {
      const int read = std::fscanf(pipe, "%lf", &expected);
      REQUIRE(pclose(pipe) == 0);
      REQUIRE(read == 1);
    }
    CAPTURE(round, drift);
    CHECK(std::abs(seconds(last.when.time_since_epoch()) - expected) < 5e-6);
  }
  std::remove(name.c_str());
}
