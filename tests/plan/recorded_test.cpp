// A plan's criteria, held against a recording that was made elsewhere: of the bench it knows the signals it has.

#include "tests/catch.hpp"
#include "tests/plan/small_bench.hpp"

using namespace trackrod;
using namespace trackrod::test;

namespace {

Bench recorded(const std::vector<std::pair<std::string, std::string>>& signals) {
  Bench bench;
  for (const auto& [name, unit] : signals) {
    auto& info = bench.signals.emplace_back().info;
    info.name = name;
    info.unit = unit;
  }
  return bench;
}

// Steps that drive what the recording does not know.
const std::string written = R"({"plan": "p", "variables": {"most": "40 ms"}, "control": {"axis": "position"},
  "steps": [
    {"do": "step", "name": "up", "signal": "axis.angle_cmd", "to": "10 deg", "for": "1 s"},
    {"do": "repeat", "times": 3, "steps": [
      {"do": "repeat", "times": 2, "steps": [{"do": "triangle", "name": "weave", "signal": "axis.angle_cmd", "amplitude": "5 deg",
                                              "rate": "10 deg/s", "cycles": 2}]},
      {"do": "step", "name": "down", "signal": "axis.angle_cmd", "to": "0 deg", "for": "1 s"}]}],
  "criteria": [{"score": "delay", "steps": ["weave"], "signals": {"input": "speed", "output": "axis.angle"},
                "order": "second", "conditions": ["volts"],
                "limits": [{"finding": "dead_time", "at_most": "${most}"}, {"finding": "lost_motion", "within": ["-1 mrad", "1 mrad"]}]}]})";

std::unique_ptr<Plan> criteria_of(const std::string& plan, const Bench& bench, Problems& problems,
                                  const Assignments& set = {}) {
  return parse_criteria({{"plan.json", plan}}, set, bench, catalogue(), problems);
}

}  // namespace

TEST_CASE("criteria of a recording read its signals, and need no bench that could run the steps") {
  Problems problems;
  const auto plan = criteria_of(written, recorded({{"axis.angle", "deg"}, {"speed", "km/h"}, {"volts", "V"}}), problems,
                                {{"most", "50 ms"}});
  REQUIRE(plan);
  CHECK(plan->of_recording);
  CHECK(plan->control.empty());
  const auto& c = plan->criteria.at(0);
  CHECK(c.signals == std::vector<std::pair<std::string, SignalIndex>>{{"input", 1}, {"output", 0}});
  CHECK(c.conditions == std::vector<SignalIndex>{2});
  CHECK(c.absent.empty());
  REQUIRE(c.limits.size() == 2);
  CHECK(c.limits[0].high == Approx(50));
  CHECK(c.limits[1].low == Approx(-0.0572958));  // 1 mrad = 180 / (1000 pi) deg
}

TEST_CASE("a signal that a recording lacks is no mistake of the plan; the limits stay") {
  Problems problems;
  const auto plan = criteria_of(written, recorded({{"speed", "km/h"}}), problems);
  REQUIRE(plan);
  const auto& c = plan->criteria.at(0);
  CHECK(c.absent == std::vector<std::string>{"axis.angle"});
  CHECK(c.absent_conditions == std::vector<std::string>{"volts"});
  REQUIRE(c.limits.size() == 2);
  CHECK(c.limits[0].unit == "ms");
  CHECK(c.limits[1].unit == "mrad");  // that of the signal is not known
}

TEST_CASE("what is wrong in the criteria is told, with its place") {
  Problems problems;
  auto broken = written;
  broken.replace(broken.find("\"dead_time\""), 11, "\"deadtime\"");
  CHECK_FALSE(criteria_of(broken, recorded({{"axis.angle", "deg"}, {"speed", "km/h"}}), problems));
  REQUIRE(problems.count() == 1);
  CHECK(problems.sorted()[0].sentence().find("unknown finding 'deadtime'") != std::string::npos);
}

TEST_CASE("the order of a plan's stimuli counts every repetition") {
  Problems problems;
  const auto plan = criteria_of(written, recorded({{"speed", "km/h"}}), problems);
  REQUIRE(plan);
  CHECK(order_of(*plan, {"step"}, 100) == std::vector<std::string>{"up", "down", "down", "down"});
  CHECK(order_of(*plan, {"triangle", "sine"}, 100) == std::vector<std::string>(6, "weave"));
  CHECK(order_of(*plan, {"triangle"}, 4).size() == 4);
  CHECK(order_of(*plan, {"hold"}, 100).empty());
}
