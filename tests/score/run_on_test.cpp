// The score `run_on` on units in closed form. A hand that turns at an even rate R and stops leaves a first-order unit
// (dead time L, time constant tau, ratio i) behind by R (L + tau) / i, which it then goes; it is within a band b of its
// change C when exp(-(t - L) / tau) R tau / i = b C.

#include "tests/score/drawn.hpp"
#include "tests/score/rig.hpp"

namespace trackrod::test {
namespace {

constexpr double rate = 100.0, size = 40.0;  // deg/s, deg
constexpr double dead_time = 0.012, lag = 0.030, ratio = 10.0;

SteeredUnit first_order() {
  SteeredUnit unit;
  unit.dead_time = dead_time;
  unit.first_order = true;
  unit.natural = 1.0 / lag;
  unit.ratio = ratio;
  return unit;
}
// Up at 0.3 s at an even rate, then at rest.
double turned(double t) { return std::clamp(rate * (t - 0.3), 0.0, size); }

Sensor sensor(double noise, double phase) {
  Sensor s;
  s.noise = noise;
  s.phase = phase;
  return s;
}

TEST_CASE("time and angle after an abrupt stop are those of the closed form") {
  const auto c = record(first_order(), turned, 1.5, sensor(0.005, 0.0003), sensor(0.0005, 0.0007), 1);
  const auto result = score("run_on", c);
  // The hand enters its own band of 2 % of 40 deg on its way: 0.8 deg, 8 ms, before it stops.
  const double before = 0.02 * size / rate;
  // What the unit still has to go at time s after the stop: R tau / i exp(-(s - L) / tau), for s >= L; ahead of that
  // R / i (L - s) + R tau / i.
  CHECK(value_of(result, "angle") == Approx(rate / ratio * (dead_time + lag + before)).margin(0.005));
  const double left = dead_time + lag * std::log(rate * lag / (0.02 * size));
  CHECK(value_of(result, "time") == Approx(1e3 * (left + before)).margin(2.0));
  const auto f = finding_of(result, "time");
  CHECK((*f.interval)[0] <= 1e3 * (left + before));
  CHECK((*f.interval)[1] >= 1e3 * (left + before));
}

TEST_CASE("a unit that stops with the hand has nothing left to go") {
  auto unit = first_order();
  unit.dead_time = 0.0;
  unit.natural = 4000.0;
  const auto result = score("run_on", record(unit, turned, 1.5, sensor(0.005, 0.0003), sensor(0.0005, 0.0007), 2));
  const auto angle = finding_of(result, "angle");
  REQUIRE(angle.value);
  // 2 % of 40 deg before the end, by the ratio.
  CHECK(*angle.value == Approx(0.02 * size / ratio).margin(0.01));
  CHECK(value_of(result, "time") == Approx(0.0).margin(1.5));
}

TEST_CASE("behind at the centre by rate times lag over ratio, and half the play") {
  auto unit = first_order();
  unit.play = 0.1;
  for (const double sweep : {20.0, 60.0}) {
    CAPTURE(sweep);
    auto c = record(unit, triangle(30.0, sweep), 4.5 * 30.0 * 4.0 / sweep / 2.0, sensor(0.01, 0.0003),
                    sensor(0.002, 0.0007), 3);
    const auto f = finding_of(score("run_on", c), "centre_angle");
    INFO(f.reason);
    REQUIRE(f.value);
    const double truth = sweep / ratio * (dead_time + lag) + 0.05;
    CHECK(*f.value == Approx(truth).margin(0.003));
    CHECK((*f.interval)[0] <= truth);
    CHECK((*f.interval)[1] >= truth);
  }
}

TEST_CASE("a hand that does not stop, an output that does not, no motion: each is told") {
  const auto slow = [&](double t) { return turned(t) + 10.0 * t; };
  check_all_empty(score("run_on", record(first_order(), slow, 1.5, sensor(0.005, 0.0003), sensor(0.0005, 0.0007), 4)),
                  "");
  auto c = record(first_order(), turned, 0.78, sensor(0.005, 0.0003), sensor(0.0005, 0.0007), 4);
  for (const auto& f : score("run_on", c).findings) {
    CAPTURE(f.name);
    CHECK_FALSE(f.value);
    CHECK_FALSE(f.reason.empty());
  }
  c.all_spans.clear();
  for (const auto& f : score("run_on", c).findings) CHECK(f.verdict == Verdict::not_run);
}

TEST_CASE("95 % intervals hold the angle in about 95 of 100 captures", "[many]") {
  // Limits: a method with 93 to 97 % coverage passes 99.9 % of the time (binomial, n = 300, lower limit 265).
  const std::uint64_t seed = 20260110;
  CAPTURE(seed);
  std::mt19937_64 random{seed};
  std::uniform_real_distribution<double> even;
  constexpr int captures = 300;
  int angle = 0, centre = 0;
  for (int n = 0; n < captures; ++n) {
    auto unit = first_order();
    unit.dead_time = 0.005 + 0.02 * even(random);
    const double tau = 0.01 + 0.03 * even(random);
    unit.natural = 1.0 / tau;
    const auto c = record(unit, turned, 1.5, sensor(0.002 + 0.004 * even(random), 0.001 * even(random)),
                          sensor(0.0005 + 0.002 * even(random), 0.001 * even(random)), random());
    const auto holds = [](const Finding& f, double truth) {
      CAPTURE(f.name, f.reason);
      REQUIRE(f.interval);
      return truth >= (*f.interval)[0] && truth <= (*f.interval)[1] ? 1 : 0;
    };
    angle += holds(finding_of(score("run_on", c), "angle"),
                   rate / ratio * (unit.dead_time + tau + 0.02 * size / rate) -
                       // at the instant the unit has not yet settled to its ramp's lag, by this much
                       rate / ratio * tau * std::exp(-(size / rate * 0.98 - unit.dead_time) / tau));
    const auto sweep = record(unit, triangle(30.0, 40.0), 3.5, sensor(0.01, 0.0003), sensor(0.002, 0.0007), random());
    centre += holds(finding_of(score("run_on", sweep), "centre_angle"), 40.0 / ratio * (unit.dead_time + tau));
  }
  CAPTURE(angle, centre);
  CHECK(angle >= 265);
  CHECK(centre >= 265);
}

TEST_CASE("the picture marks where each signal stopped, and the time between with its interval") {
  const auto c = record(first_order(), turned, 1.5, sensor(0.005, 0.0003), sensor(0.0005, 0.0007), 1);
  const auto result = score("run_on", c);
  const auto& marks = result.figures.at(0).marks;
  REQUIRE(marks.at(0).label == "input stopped");
  check_marked(result, "output stopped", finding_of(result, "time"), marks[0].value);
}

}  // namespace
}  // namespace trackrod::test
