// The score `end_stop` on a stop in closed form: torque = friction + stiffness (angle - stop) + damping rate beyond the
// stop, friction alone before it. A line through its stiff branch meets that of free travel at
// stop - rate damping / stiffness, so that the angle at no rate is the stop, and the effect of the rate is
// -damping / stiffness.

#include "tests/score/drawn.hpp"
#include "tests/score/rig.hpp"
#include "tests/score/stops.hpp"

namespace trackrod::test {
namespace {

void check_holds(const Finding& f, double truth) {
  CAPTURE(f.name, f.reason, truth);
  REQUIRE(f.interval);
  CAPTURE(*f.value, (*f.interval)[0], (*f.interval)[1]);
  CHECK((*f.interval)[0] <= truth);
  CHECK((*f.interval)[1] >= truth);
}

TEST_CASE("both stops, the middle of travel, stiffness and what happens at rest there") {
  const Stop stop;
  const auto result = score("end_stop", pushed(stop, {}, 1));
  CHECK(value_of(result, "angle_positive") == Approx(165.0).margin(0.01));
  CHECK(value_of(result, "angle_negative") == Approx(-161.0).margin(0.01));
  CHECK(value_of(result, "centre") == Approx(2.0).margin(0.01));
  CHECK(value_of(result, "stiffness_positive") == Approx(2.0).epsilon(0.01));
  CHECK(value_of(result, "stiffness_negative") == Approx(2.0).epsilon(0.01));
  CHECK(value_of(result, "holding_torque") == Approx(8.0).margin(0.02));
  CHECK(value_of(result, "over_travel") == Approx(4.0).margin(0.02));
  CHECK(value_of(result, "bounce") == 0.0);
  CHECK(value_of(result, "repeatability") < 0.01);
  CHECK_FALSE(finding_of(result, "approach_effect").value);
}

TEST_CASE("a stop that damps seems to come earlier with the rate, and stands at no rate where it is") {
  Stop stop;
  stop.damping = 0.02;
  Drive drive;
  drive.rates = {5.0, 10.0, 20.0, 40.0};
  const auto result = score("end_stop", pushed(stop, drive, 2));
  check_holds(finding_of(result, "angle_positive"), 165.0);
  check_holds(finding_of(result, "angle_negative"), -161.0);
  CHECK(value_of(result, "approach_effect") == Approx(-1e3 * 0.02 / 2.0).margin(0.5));
  drive.rates = {20.0, 20.0, 20.0};
  // At one rate it is that rate's.
  CHECK(value_of(score("end_stop", pushed(stop, drive, 2)), "angle_positive") ==
        Approx(165.0 - 20.0 * 0.02 / 2.0).margin(0.02));
}

TEST_CASE("the stop can be where a stated torque is reached") {
  const auto result = score("end_stop", pushed({}, {}, 3), R"({"torque": 4})");
  CHECK(value_of(result, "angle_positive") == Approx(167.0).margin(0.01));
  CHECK(value_of(result, "angle_negative") == Approx(-163.0).margin(0.01));
  check_all_empty(score("end_stop", pushed({}, {}, 3), R"({"torque": 40})"), "less than the 'torque' asked for");
}

TEST_CASE("what of the bench bends is taken out") {
  // Of the 0.5 deg/Nm between both sensors, 0.1 are the bench's: the stop's own stiffness is 1 / 0.4.
  const auto result = score("end_stop", pushed({}, {}, 4), R"({"bench_compliance": 0.1, "bench_compliance_u": 0.005})");
  CHECK(value_of(result, "stiffness_positive") == Approx(2.5).epsilon(0.01));
  CHECK(value_of(result, "angle_positive") == Approx(165.0 - 0.1 * 0.4).margin(0.01));
  CHECK(*finding_of(result, "stiffness_positive").standard_uncertainty > 2.5 * 2.5 * 0.005);
  check_all_empty(score("end_stop", pushed({}, {}, 4), R"({"bench_compliance": 0.6})"), "too large");
}

TEST_CASE("a torque sensor that counts the other way finds the same stops") {
  Stop stop;
  stop.sign = -1.0;
  const auto result = score("end_stop", pushed(stop, {}, 5));
  CHECK(value_of(result, "angle_positive") == Approx(165.0).margin(0.01));
  CHECK(value_of(result, "stiffness_negative") == Approx(2.0).epsilon(0.01));
  CHECK(value_of(result, "holding_torque") == Approx(8.0).margin(0.02));
}

TEST_CASE("a stop that hardens widens the interval until it holds the angle at which it begins") {
  Stop stop;
  stop.hardening = 0.1;
  const auto straight = finding_of(score("end_stop", pushed({}, {}, 6)), "angle_positive"),
             bent = finding_of(score("end_stop", pushed(stop, {}, 6)), "angle_positive");
  check_holds(bent, 165.0);
  CHECK(*bent.standard_uncertainty > 5.0 * *straight.standard_uncertainty);
}

TEST_CASE("a wheel that jumps off the stop is told with how far") {
  auto c = pushed({}, {}, 7);
  // 30 ms after the first contact the wheel stands 1.5 deg before the stop for 40 ms.
  const auto course = course_of({}, {});
  double t = 0.0;
  while (course.at(t) < 165.0 + 3.9) t += 1e-3;
  for (std::size_t signal = 0; signal < 2; ++signal)
    for (auto& p : c.samples[signal]) {
      const double since = seconds(p.when - at(t)) - 0.03;
      // What noise there was stays.
      if (since > 0.0 && since < 0.04) p.value -= signal == 0 ? 169.0 - 163.5 : 8.0;
    }
  CHECK(value_of(score("end_stop", c), "bounce") == Approx(1.5).margin(0.05));
}

TEST_CASE("no stop, one side alone, no rest at the stop: each is told") {
  Stop far;
  far.stiffness = 0.0;
  check_all_empty(score("end_stop", pushed(far, {}, 8)), "no stop was met");
  auto c = pushed({}, {}, 8);
  c.all_spans[0].to = at(2.0);
  const auto one = score("end_stop", c);
  CHECK(finding_of(one, "angle_positive").value);
  CHECK_FALSE(finding_of(one, "angle_negative").value);
  CHECK_FALSE(finding_of(one, "centre").value);
  Drive brief;
  brief.hold = 0.0;
  const auto hasty = score("end_stop", pushed({}, brief, 8));
  CHECK(finding_of(hasty, "angle_positive").value);
  CHECK_FALSE(finding_of(hasty, "holding_torque").value);
  CHECK(finding_of(hasty, "holding_torque").reason.find("longer") != std::string::npos);
  for (auto& p : c.samples[1]) p.value = 0.0;
  check_all_empty(score("end_stop", c), "did not change");
  c.all_spans.clear();
  for (const auto& f : score("end_stop", c).findings) CHECK(f.verdict == Verdict::not_run);
}

TEST_CASE("each stop has a picture of its own, with the angle marked") {
  const auto result = score("end_stop", pushed({}, {}, 1));
  REQUIRE(result.figures.size() == 2);
  check_marked({{}, {result.figures[0]}}, "stop", finding_of(result, "angle_positive"));
  check_marked({{}, {result.figures[1]}}, "stop", finding_of(result, "angle_negative"));
  for (const auto& x : result.figures[1].curves[0].x) CHECK(x < 2.0);  // nothing of the other side
}

}  // namespace
}  // namespace trackrod::test
