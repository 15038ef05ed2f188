#include "harness/plan/preview.hpp"

#include <cmath>

#include "tests/catch.hpp"
#include "tests/plan/small_bench.hpp"

using namespace trackrod;
using namespace trackrod::test;

namespace {

Preview look(const std::string& text, const PreviewOptions& options = {}, const Bench& bench = small_bench()) {
  const auto w = work_out(text, {}, bench);
  INFO(w.sentences());
  REQUIRE(w.timeline);
  return preview(*w.timeline, bench, options);
}
bool says(const std::vector<std::string>& notes, const std::string& words) {
  return std::any_of(notes.begin(), notes.end(), [&](const auto& n) { return n.find(words) != std::string::npos; });
}
const LimitUse& use(const PreviewSignal& s, const std::string& limit) {
  for (const auto& u : s.limits)
    if (u.limit == limit) return u;
  FAIL("no limit " + limit);
  return s.limits.front();
}

}  // namespace

TEST_CASE("a preview gives duration, extremes and the margin to each limit") {
  const auto p = look(plan_of(
      R"({"do": "triangle", "signal": "axis.angle_cmd", "amplitude": "20 deg", "rate": "40 deg/s", "acceleration": "800 deg/s^2", "cycles": 3},
      {"do": "wait", "signal": "axis.angle", "at_most": "1 deg", "within": "10 s"})"));
  CHECK(p.steps == 2);
  CHECK(seconds(p.length) == Approx(4 * 3 * 20.0 / 40 + 7 * 40.0 / 800 + 10));
  REQUIRE(p.signals.size() == 1);
  const auto& s = p.signals[0];
  CHECK(s.signal == angle_cmd);
  CHECK(s.extent.low == Approx(-20));
  CHECK(s.extent.high == Approx(20));
  CHECK(s.extent.rate == Approx(40));
  CHECK(s.extent.acceleration == Approx(800));
  CHECK(std::isinf(s.extent.jerk));
  CHECK(use(s, "upper end of the range").margin == Approx(140));
  CHECK(use(s, "max_slew").margin == Approx(960));
  CHECK_FALSE(use(s, "max_slew").near);
  CHECK(says(p.notes, "every wait"));
  CHECK(says(p.notes, "moved from where it is found to 0 deg"));
}

TEST_CASE("a preview says that it cannot know the load on a road") {
  CHECK(says(look(plan_of(R"({"do": "road", "steps": [{"do": "hold", "for": "1 s"}]})")).notes,
             "load model drives 'load'"));
  CHECK_FALSE(says(look(plan_of(R"({"do": "hold", "for": "1 s"})")).notes, "load model"));
}

TEST_CASE("a preview tells of limits that are near, within 10 % of them") {
  const auto p = look(plan_of(R"({"do": "step", "signal": "load", "to": "-5400 N", "slew": "44 kN/s", "for": "1 s"})"));
  CHECK(use(p.signals[0], "lower end of the range").near);
  CHECK_FALSE(use(p.signals[0], "max_slew").near);
  CHECK(says(p.notes, "'load' comes near the lower end of the range: -5400 N of -6000 N"));
}

TEST_CASE("a preview draws the first pass of a repeat and a later one, and counts them") {
  const auto p = look(plan_of(
      R"({"do": "repeat", "times": 1000, "steps": [{"do": "ramp", "name": "up", "signal": "axis.angle_cmd", "to": "30 deg", "rate": "30 deg/s"},
      {"do": "ramp", "name": "down", "signal": "axis.angle_cmd", "to": "15 deg", "rate": "15 deg/s"}]})"));
  REQUIRE(p.stretches.size() == 4);
  CHECK(p.stretches[0].times == 1);
  CHECK(p.stretches[2].step == "up");
  CHECK(p.stretches[2].times == 999);
  CHECK(p.stretches[3].to == Approx(p.drawn_seconds));
  CHECK(p.drawn_seconds == Approx(1 + 1 + 0.5 + 1));
  CHECK(seconds(p.length) == Approx(2 + 999 * 1.5));
  CHECK(p.steps == 2000);
}

TEST_CASE("the curve of a preview loses no extreme, however few its slices") {
  const auto text = plan_of(
      R"({"do": "hold", "for": "3 s"}, {"do": "triangle", "signal": "axis.angle_cmd", "amplitude": "50 deg", "rate": "500 deg/s", "cycles": 1},
      {"do": "ramp", "signal": "speed", "to": "36 km/h", "rate": "36 km/h/s", "for": "2 s"})");
  for (const std::size_t slices : {1U, 7U, 50U, 5000U}) {
    const auto p = look(text, {slices});
    CAPTURE(slices);
    for (const auto& s : p.signals) {
      REQUIRE(s.curve.time.size() == slices);
      CHECK(*std::max_element(s.curve.high.begin(), s.curve.high.end()) == Approx(s.extent.high));
      CHECK(*std::min_element(s.curve.low.begin(), s.curve.low.end()) == Approx(s.extent.low));
      for (std::size_t i = 0; i < slices; ++i) CHECK(s.curve.low[i] <= s.curve.high[i]);
    }
  }
  const auto fine = look(text, {5000});
  const auto w = work_out(text);
  const auto exact = sampled(*w.timeline, angle_cmd);
  const auto& curve = fine.signals[0].curve;
  for (std::size_t i = 0; i < curve.time.size(); ++i) {
    const auto at = static_cast<std::size_t>(curve.time[i] * 1e3);
    CHECK(curve.low[i] <= exact[at] + 1);
    CHECK(curve.high[i] >= exact[at] - 1);
  }
}

TEST_CASE("the way after a trip is worked out: refused within the grace time, noted until the safe state is reached") {
  // 400 deg/s: 32 deg in 80 ms of grace, 352 deg in all 880 ms; from 60 deg there are 100 deg to the end at 160 deg.
  const auto p =
      look(plan_of(R"({"do": "step", "signal": "axis.angle_cmd", "to": "60 deg", "slew": "400 deg/s", "for": "1 s"})"));
  const auto& trip = p.signals[0].trip;
  REQUIRE(trip);
  CHECK(trip->in_grace == Approx(32));
  CHECK(trip->until_safe == Approx(352));
  CHECK(trip->room == Approx(100));
  CHECK(says(p.notes, "could take it 352 deg"));
  auto bench = small_bench();
  bench.safe_state.within = std::chrono::milliseconds{100};
  CHECK_FALSE(says(
      look(plan_of(R"({"do": "step", "signal": "axis.angle_cmd", "to": "60 deg", "slew": "400 deg/s", "for": "1 s"})"),
           {}, bench)
          .notes,
      "could take it"));
  // The same at 900 deg/s from 100 deg: 72 deg in the grace time, 60 deg left.
  CHECK_FALSE(
      work_out(
          plan_of(R"({"do": "step", "signal": "axis.angle_cmd", "to": "100 deg", "slew": "900 deg/s", "for": "1 s"})"))
          .plan);
}
