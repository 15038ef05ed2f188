// What a plan makes of the road under the load model.

#include "tests/catch.hpp"
// clang-format off: the bench uses the test library
#include "tests/plan/small_bench.hpp"
// clang-format on

using namespace trackrod;
using namespace trackrod::test;
using namespace std::chrono_literals;

namespace {

std::unique_ptr<Timeline> timeline_of(const std::string& steps) {
  auto worked = work_out(plan_of(steps));
  INFO(worked.sentences());
  REQUIRE(worked.timeline);
  return std::move(worked.timeline);
}

}  // namespace

TEST_CASE("on a road the load comes in before the first step and is gone after the last") {
  const auto timeline = timeline_of(R"({"do": "hold", "for": "1 s"},
    {"do": "road", "grip": 0.8, "steps": [{"do": "hold", "for": "1 s"}, {"do": "hold", "for": "2 s"}]},
    {"do": "ramp", "signal": "load", "to": "9 N", "rate": "9 N/s"})");
  const auto& steps = timeline->steps();
  std::vector<LoadUse> use;
  for (const auto& step : steps) use.push_back(step.load);
  CHECK(use ==
        std::vector<LoadUse>{LoadUse::none, LoadUse::on, LoadUse::on, LoadUse::on, LoadUse::leaving, LoadUse::none});
  CHECK(steps[1].length == 200ms);  // the bench's fade
  REQUIRE(steps[1].grip);
  CHECK(steps[1].grip->at(0s) == 0.8);
  CHECK(steps[4].length == 202ms);  // and a tick at either end
}

TEST_CASE("grip changes at once, or evenly over a time, from where it is") {
  const auto timeline = timeline_of(R"({"do": "road", "steps": [
    {"do": "grip", "to": 0.4, "for": "1 s"}, {"do": "grip", "to": 0.8, "over": "400 ms", "for": "1 s"}]})");
  const auto& at_once = *timeline->steps()[1].grip;
  CHECK(at_once.at(0s) == 0.4);
  const auto& evenly = *timeline->steps()[2].grip;
  CHECK(timeline->steps()[2].length == 1400ms);
  CHECK(evenly.at(0s) == 0.4);
  CHECK(evenly.at(100ms) == Approx(0.5));
  CHECK(evenly.at(400ms) == Approx(0.8));
  CHECK(evenly.at(2s) == 0.8);
}

TEST_CASE("grip and pulses come at their instants beside other motions") {
  const auto timeline = timeline_of(R"({"do": "road", "steps": [{"do": "parallel", "tracks": [
    [{"do": "ramp", "signal": "axis.angle_cmd", "to": "20 deg", "rate": "20 deg/s"}],
    [{"do": "hold", "for": "500 ms"}, {"do": "grip", "to": 0.3, "for": "100 ms"}],
    [{"do": "hold", "for": "300 ms"}, {"do": "pulse", "length": "40 cm", "force": "1 kN", "for": "100 ms"},
     {"do": "pulse", "length": "1 m", "height": "-20 mm", "for": "100 ms"}]]}]})");
  const auto& step = timeline->steps()[1];
  REQUIRE(step.grip);
  CHECK(step.grip->at(499ms) == 1.0);
  CHECK(step.grip->at(501ms) == 0.3);
  REQUIRE(step.pulses.size() == 2);
  CHECK(step.pulses[0].from == 300ms);
  CHECK(step.pulses[0].force == 1000.0);
  CHECK(step.pulses[0].length == 0.4);
  CHECK(step.pulses[1].from == 400ms);
  CHECK(step.pulses[1].force == Approx(-0.02 * van().pulse_force_per_height));
}

TEST_CASE("a repeated road begins with its own grip each time, and a repeat on the road goes on with what is there") {
  const auto timeline = timeline_of(R"({"do": "repeat", "times": 2, "steps": [{"do": "road", "steps": [
    {"do": "repeat", "times": 2, "steps": [{"do": "grip", "to": 0.5, "over": "100 ms", "for": "1 s"}]}]}]})");
  std::vector<double> from;
  for (Timeline::Cursor c{*timeline}; c.current() != nullptr; c.next())
    if (c.current()->grip) from.push_back(c.current()->grip->at(0s));
  CHECK(from == std::vector<double>{1.0, 1.0, 0.5, 1.0, 1.0, 0.5});
}

TEST_CASE("a bench without a load model has no road") {
  auto bench = small_bench();
  bench.load.reset();
  const auto worked = work_out(plan_of(R"({"do": "road", "steps": [{"do": "hold", "for": "1 s"}]})"), {}, bench);
  CHECK_FALSE(worked.timeline);
  CHECK(worked.sentences().find("a bench file with 'load'") != std::string::npos);
}
