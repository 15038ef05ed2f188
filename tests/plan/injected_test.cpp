#include "harness/plan/injected.hpp"

#include "tests/catch.hpp"
#include "tests/plan/small_bench.hpp"

using namespace trackrod;
using namespace trackrod::test;

TEST_CASE("the faults that a plan makes are named once each, in the order of the bench") {
  const auto bench = small_bench();
  const auto w = work_out(plan_of(R"({"do": "inject", "fault": "speed_stuck", "for": "1 s"},
    {"do": "repeat", "times": 3, "steps": [{"do": "inject", "fault": "relay_open", "for": "1 s"}]},
    {"do": "inject", "fault": "speed_stuck", "for": "2 s"})"));
  INFO(w.sentences());
  REQUIRE(w.timeline);
  CHECK(injected_faults(*w.timeline, bench) == std::vector<std::string>{"relay_open", "speed_stuck"});
  const auto none = work_out(plan_of(R"({"do": "hold", "for": "1 s"})"));
  REQUIRE(none.timeline);
  CHECK(injected_faults(*none.timeline, bench).empty());
}
