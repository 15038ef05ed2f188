// The score `ratio` on a rig that is known exactly. For a law y = f(x) the ratio over a stretch is
// (b - a) / (f(b) - f(a)): plain algebra.

#include "tests/score/accelerated.hpp"
#include "tests/score/drawn.hpp"
#include "tests/score/rig.hpp"

namespace trackrod::test {
namespace {

Sensor sensor(double noise, double phase) {
  Sensor s;
  s.noise = noise;
  s.phase = phase;
  return s;
}

using Law = std::function<double(double)>;

// Two and a half sweeps between -30 and 30 deg.
KnownCapture swept(const Law& law, double rate = 20.0, std::uint64_t seed = 1) {
  SteeredUnit unit;
  unit.play = 0.1;
  unit.law = law;
  return record(unit, triangle(30.0, rate), 2.5 * 120.0 / rate, sensor(0.005, 0.0003), sensor(0.002, 0.0007), seed);
}

double over(const Law& law, double from, double to) { return (to - from) / (law(to) - law(from)); }

constexpr double end = 24.0, stretch = 2.0 * end / 9.0;  // 80 % of the sweep in nine stretches

// Falls from 12 at the centre outwards; steering ratio = hand-wheel angle over road-wheel angle (ISO 4138, from
// memory), local where it varies.
double progressive(double x) { return x / 12.0 + 1e-5 * x * x * x; }

TEST_CASE("a constant ratio is found everywhere, whatever play and lag do") {
  for (const double rate : {5.0, 20.0, 40.0}) {
    CAPTURE(rate);
    const auto result = score("ratio", swept([](double x) { return x / 12.0; }, rate));
    CHECK(value_of(result, "centre") == Approx(12.0).margin(0.02));
    CHECK(value_of(result, "overall") == Approx(12.0).margin(0.005));
    CHECK(value_of(result, "least") == Approx(12.0).margin(0.03));
    CHECK(value_of(result, "greatest") == Approx(12.0).margin(0.03));
    CHECK(value_of(result, "unevenness") < 0.3);
    CHECK(value_of(result, "not_following") == 0.0);
  }
}

TEST_CASE("a ratio that varies is found as it is over each stretch: the mean over the whole is another thing") {
  const auto result = score("ratio", swept(progressive));
  CHECK(value_of(result, "centre") == Approx(over(progressive, -0.5 * stretch, 0.5 * stretch)).epsilon(0.002));
  CHECK(value_of(result, "overall") == Approx(over(progressive, -end, end)).epsilon(0.001));
  CHECK(value_of(result, "least") == Approx(over(progressive, end - stretch, end)).epsilon(0.003));
  CHECK(value_of(result, "greatest") == Approx(over(progressive, -0.5 * stretch, 0.5 * stretch)).epsilon(0.003));
  const double last = over(progressive, end - stretch, end),
               before = over(progressive, end - 2.0 * stretch, end - stretch);
  CHECK(value_of(result, "unevenness") == Approx(200.0 * (before - last) / (before + last)).margin(0.3));
  CHECK(value_of(result, "centre") > value_of(result, "overall") + 0.3);
}

TEST_CASE("an output that goes the other way has a negative ratio") {
  const auto result = score("ratio", swept([](double x) { return -progressive(x); }));
  CHECK(value_of(result, "centre") == Approx(-over(progressive, -0.5 * stretch, 0.5 * stretch)).epsilon(0.002));
  CHECK(value_of(result, "least") == Approx(-over(progressive, end - stretch, end)).epsilon(0.003));
  CHECK(value_of(result, "not_following") == 0.0);
}

TEST_CASE("the departure from a declared map is told in % of it, with its position") {
  // Declared: the local ratio 1 / f'(x) of `progressive`, every 2 deg, but 3 % too high from 10 deg on.
  std::string right = R"({"declared": [)", wrong = right;
  for (int x = -30; x <= 30; x += 2) {
    const double local = 1.0 / (1.0 / 12.0 + 3e-5 * x * x);
    const auto point = [&](double ratio) {
      return std::string{x > -30 ? ", " : ""} + R"({"at": )" + std::to_string(x) + R"(, "ratio": )" +
             std::to_string(ratio) + "}";
    };
    right += point(local);
    wrong += point(x >= 10 ? 1.03 * local : local);
  }
  CHECK(value_of(score("ratio", swept(progressive), right + "]}"), "departure") < 0.3);
  const auto f = finding_of(score("ratio", swept(progressive), wrong + "]}"), "departure");
  REQUIRE(f.value);
  CHECK(*f.value == Approx(100.0 * (1.0 - 1.0 / 1.03)).margin(0.3));
  const auto at =
      std::find_if(f.conditions.begin(), f.conditions.end(), [](const auto& c) { return c.first == "position"; });
  REQUIRE(at != f.conditions.end());
  CHECK(std::stod(at->second) > 10.0);

  const auto none = finding_of(score("ratio", swept(progressive)), "departure");
  CHECK_FALSE(none.value);
  CHECK(none.reason.find("declared") != std::string::npos);
}

TEST_CASE("where the output stands still or goes back there is no ratio, and the map says over how many stretches") {
  // Flat for 12 deg about the centre, or going back there.
  for (const double middle : {0.0, -0.03}) {
    CAPTURE(middle);
    const auto law = [=](double x) {
      const double in = std::clamp(x, -6.0, 6.0);
      return (x - in) / 12.0 + middle * in;
    };
    const auto result = score("ratio", swept(law));
    CHECK(value_of(result, "not_following") >= 1.0);
    CHECK(value_of(result, "overall") == Approx(over(law, -end, end)).epsilon(0.003));
    for (const auto* name : {"centre", "least", "greatest", "unevenness"}) {
      const auto f = finding_of(result, name);
      CAPTURE(name, f.reason);
      CHECK_FALSE(f.value);
      CHECK(f.reason.find("does not follow") != std::string::npos);
    }
  }
}

TEST_CASE("each step has a map of its own, as one speed has another ratio than the next") {
  auto slow = swept([](double x) { return x / 8.0; });
  const auto fast = swept([](double x) { return x / 14.0; });
  const auto shift = at(20.0) - at(0.0);
  for (std::size_t s = 0; s < 2; ++s)
    for (auto p : fast.samples[s]) {
      p.when += shift;
      if (p.when > slow.samples[s].back().when) slow.samples[s].push_back(p);
    }
  slow.all_spans = {{"slow", 0, at(0.0), at(15.0), true}, {"fast", 0, at(20.0), at(35.0), true}};
  slow.last = at(35.0);
  std::vector<double> found;
  for (const auto& f : score("ratio", slow).findings)
    if (f.name == "ratio.centre" && f.value) found.push_back(*f.value);
  REQUIRE(found.size() == 2);
  CHECK(found[0] == Approx(8.0).epsilon(0.002));
  CHECK(found[1] == Approx(14.0).epsilon(0.002));
}

TEST_CASE("an error of the sensors' gain is in the budget, whole; the same fixed error at both ends cancels") {
  auto c = swept([](double x) { return x / 12.0; });
  c.infos[0].calibration.gain_uncertainty = 0.003;
  c.infos[1].calibration.gain_uncertainty = 0.004;
  for (auto& p : c.samples[1]) p.value += 0.5;
  const auto f = finding_of(score("ratio", c), "overall");
  REQUIRE(f.value);
  CHECK(*f.value == Approx(12.0).margin(0.005));
  CHECK(*f.standard_uncertainty == Approx(12.0 * 0.005).epsilon(0.02));
}

TEST_CASE("no motion, one direction only, frozen, saturated: a reason, and no number") {
  const auto soft = sensor(0.005, 0.0003), road = sensor(0.002, 0.0007);
  check_all_empty(score("ratio", record(
                                     {}, [](double) { return 0.0; }, 2.0, soft, road, 1)),
                  "no motion");
  for (const auto& f : score("ratio", record(
                                          {}, [](double t) { return 10.0 * std::max(0.0, t); }, 3.0, soft, road, 1))
                           .findings) {
    CAPTURE(f.name);
    CHECK_FALSE(f.value);
    CHECK_FALSE(f.reason.empty());
  }
  auto c = swept([](double x) { return x / 12.0; });
  for (auto& p : c.samples[1]) p.value = 0.5;
  check_all_empty(score("ratio", c), "did not change");
  auto clipped = road;
  clipped.low = -1.0, clipped.high = 1.0;
  check_all_empty(score("ratio", record({}, triangle(30, 20), 15.0, soft, clipped, 1)), "saturated");
  c = swept([](double x) { return x / 12.0; });
  c.all_spans.clear();
  for (const auto& f : score("ratio", c).findings) CHECK(f.verdict == Verdict::not_run);
}

TEST_CASE("a sweep too narrow for the map at this rate is told what to do") {
  const auto f = finding_of(score("ratio", swept([](double x) { return x / 12.0; }), R"({"settle": "2 s"})"), "centre");
  CHECK_FALSE(f.value);
  CHECK(f.reason.find("sweep wider or slower") != std::string::npos);
}

ScoreResult score_speed(const KnownCapture& c) {
  return score("ratio", c, "{}", {{"input", SignalIndex{0}}, {"output", SignalIndex{1}}, {"speed", SignalIndex{2}}});
}

TEST_CASE("while the speed changes and the hand is held, the ratio moves the output by so much, and so fast") {
  const auto r = accelerate({}, 3, 0.002, 5);
  const auto result = score_speed(r.capture);
  // 60 deg / (8 + 6) less 60 deg / (8 + 2).
  CHECK(value_of(result, "speed_motion") == Approx(60.0 / 14.0 - 60.0 / 10.0).margin(0.005));
  for (const auto& [name, truth] : {std::pair{"speed_motion", r.motion}, {"speed_rate", r.rate}}) {
    const auto f = finding_of(result, name);
    CAPTURE(name, truth, *f.value, (*f.interval)[0], (*f.interval)[1]);
    CHECK((*f.interval)[0] <= truth);
    CHECK(truth <= (*f.interval)[1]);
    CHECK(f.conditions.size() >= 3);
  }
  CHECK(value_of(result, "speed_rate") == Approx(r.rate).epsilon(0.03));
}

TEST_CASE("the greatest rate is not that of the noise: of a road wheel that stands it is nearly none") {
  Accelerated still;
  still.per_speed = 0.0;
  const auto f = finding_of(score_speed(accelerate(still, 3, 0.01, 6).capture), "speed_rate");
  REQUIRE(f.value);
  CHECK((*f.interval)[0] == 0.0);
}

TEST_CASE("the way that the output goes by itself is marked in its picture, with its interval") {
  const auto result = score_speed(accelerate({}, 1, 0.002, 5).capture);
  const auto& marks = result.figures.at(0).marks;
  check_marked(result, "after", finding_of(result, "speed_motion"), marks.at(0).value);
}

TEST_CASE("a hand that moves, a speed that does not change, no speed: each is told") {
  auto r = accelerate({}, 1, 0.002, 7);
  for (auto& p : r.capture.samples[0]) p.value += 3.0 * seconds(p.when - r.capture.first);
  CHECK(finding_of(score_speed(r.capture), "speed_rate").reason.find("not held") != std::string::npos);
  r = accelerate({}, 1, 0.002, 7);
  for (auto& p : r.capture.samples[2]) p.value = 20.0;
  CHECK(finding_of(score_speed(r.capture), "speed_rate").reason.find("does not change") != std::string::npos);
  CHECK(finding_of(score("ratio", r.capture), "speed_rate").reason.find("no motion") != std::string::npos);
}

TEST_CASE("the map is drawn with its interval over every stretch") {
  const auto result = score("ratio", swept(progressive));
  check_drawn(result, finding_of(result, "centre"));
  REQUIRE(result.figures.size() == 1);
  const auto& map = result.figures[0].curves[0];
  REQUIRE(map.low.size() == map.y.size());
  for (std::size_t i = 0; i < map.y.size(); ++i) CHECK((map.low[i] < map.y[i] && map.y[i] < map.high[i]));
}

}  // namespace
}  // namespace trackrod::test
