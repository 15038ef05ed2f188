// What a plan requires its devices to say of themselves.

#include "tests/plan/demo.hpp"

namespace trackrod::test {
namespace {

std::string plan_that_requires(const std::string& identity) {
  return R"({"plan": "p", "requires": )" + identity + R"(, "steps": [{"do": "hold", "for": "1 s"}]})";
}

TEST_CASE("a plan requires texts of a device, each one or several") {
  const auto read = read_plan(plan_that_requires(R"({"supply": {"model": "20 V", "serial": ["7", "8"]}})"));
  INFO(read.sentences());
  REQUIRE(read.plan);
  const auto& rules = read.plan->identity;
  REQUIRE(rules.size() == 2);
  CHECK(demo_bench().devices[rules[0].device].name == "supply");
  CHECK(rules[0].name == "model");
  CHECK(rules[0].asked_by == "the plan");
  CHECK(rules[0].allows("20 V"));
  CHECK_FALSE(rules[0].allows("20 V "));
  CHECK_FALSE(rules[0].allows(""));
  CHECK(rules[1].allows("7"));
  CHECK(rules[1].allows("8"));
  CHECK_FALSE(rules[1].allows("78"));
}

TEST_CASE("what no device of the bench can say is told when the plan is read") {
  struct Row {
    const char *identity, *path, *found, *more;
  };
  for (const auto& row :
       {Row{R"({"suply": {"serial": "7"}})", "/requires/suply", "unknown device 'suply'", "did you mean 'supply'?"},
        Row{R"({"supply": {"modell": "7"}})", "/requires/supply/modell", "device 'supply' does not tell its 'modell'",
            "did you mean 'model'?"},
        Row{R"({"hand": {"serial": "7"}})", "/requires/hand/serial", "device 'hand' does not tell its 'serial'",
            "protocol 'frames' does not say what it is"},
        Row{R"({"supply": {"serial": 7}})", "/requires/supply/serial", "found 7", "a text"},
        Row{R"({"supply": {"serial": []}})", "/requires/supply/serial", "found a list of 0", "at least 1"}}) {
    CAPTURE(row.identity);
    const auto read = read_plan(plan_that_requires(row.identity));
    CHECK_FALSE(read.plan);
    REQUIRE(read.problems.size() == 1);
    CHECK(read.problems[0].at.path == row.path);
    CHECK(read.problems[0].sentence().find(row.found) != std::string::npos);
    CHECK(read.problems[0].sentence().find(row.more) != std::string::npos);
  }
}

}  // namespace
}  // namespace trackrod::test
