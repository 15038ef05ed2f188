#include "tests/catch.hpp"
#include "tests/plan/small_bench.hpp"

using namespace trackrod;
using namespace trackrod::test;

namespace {

Criterion criterion(const std::string& text) {
  const auto w = work_out(
      R"({"plan": "p", "steps": [{"do": "hold", "name": "a", "for": "1 s"}, {"do": "repeat", "times": 2, "steps": [{"do": "hold", "name": "b", "for": "1 s"}]}],
      "criteria": [)" +
      text + "]}");
  INFO(w.sentences());
  REQUIRE(w.plan);
  return w.plan->criteria.at(0);
}
const std::string head =
    R"({"score": "delay", "steps": ["a", "b"], "signals": {"input": "speed", "output": "axis.angle"}, "order": "second", "conditions": ["volts"], )";

}  // namespace

TEST_CASE("a criterion carries its score, steps, signals, conditions and the score's own settings") {
  const auto c = criterion(head + R"("limits": []})");
  CHECK(c.score == "delay");
  CHECK(c.steps == std::vector<std::string>{"a", "b"});
  CHECK(c.signals == std::vector<std::pair<std::string, SignalIndex>>{{"input", speed}, {"output", angle}});
  CHECK(c.conditions == std::vector<SignalIndex>{volts});
  CHECK(std::any_cast<const SmallDelay&>(c.settings).order == "second");
}

TEST_CASE("limits come in the finding's unit, that of a signal where the finding follows it") {
  const auto c = criterion(head + R"("limits": [
      {"finding": "dead_time", "at_most": "0.04 s", "requirement": "R-1"},
      {"finding": "lost_motion", "within": ["-1 mrad", "1 mrad"], "rule": "simple"},
      {"finding": "speed_error", "at_least": "-1 m/s^2"},
      {"finding": "gain", "at_most": "2 deg.h/km"},
      {"finding": "share", "at_most": "0.15"}]
})");
  REQUIRE(c.limits.size() == 5);
  CHECK(c.limits[0].finding == "delay.dead_time");
  CHECK(c.limits[0].kind == LimitKind::at_most);
  CHECK(c.limits[0].high == Approx(40));
  CHECK(c.limits[0].unit == "ms");
  CHECK(c.limits[0].rule == DecisionRule::guarded);
  CHECK(c.limits[0].requirement == "R-1");
  CHECK(c.limits[1].kind == LimitKind::within);
  CHECK(c.limits[1].low == Approx(-0.0572958));  // 1 mrad = 180 / (1000 pi) deg
  CHECK(c.limits[1].high == Approx(0.0572958));
  CHECK(c.limits[1].rule == DecisionRule::simple);
  CHECK(c.limits[2].kind == LimitKind::at_least);
  CHECK(c.limits[2].low == Approx(-3.6));
  CHECK(c.limits[3].high == Approx(2));
  CHECK(c.limits[4].high == Approx(15));
}

TEST_CASE("a score of the run itself reads every step unless told which") {
  CHECK(criterion(R"({"score": "bus"})").steps == std::vector<std::string>{"a", "b"});
  CHECK(criterion(R"({"score": "bus", "steps": ["b"]})").steps == std::vector<std::string>{"b"});
}
