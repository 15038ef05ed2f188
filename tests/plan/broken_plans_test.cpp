#include "tests/plan/broken_plans.hpp"

#include "tests/catch.hpp"
#include "tests/plan/small_bench.hpp"

using namespace trackrod;
using namespace trackrod::test;

namespace {

struct Marked {
  std::string text;
  int line{1}, column{1};
};

Marked unmark(std::string text) {
  Marked m;
  const auto mark = text.find('@');
  REQUIRE(mark != std::string::npos);
  for (std::size_t i = 0; i < mark; ++i)
    if (text[i] == '\n')
      ++m.line, m.column = 1;
    else
      ++m.column;
  m.text = text.erase(mark, 1);
  return m;
}

}  // namespace

TEST_CASE("a broken plan is refused with the place, what is there, what may be there, and nothing beside it") {
  const auto all = broken_plans();
  CHECK(all.size() >= 60);
  for (const auto& broken : all) {
    const auto m = unmark(broken.text);
    const auto w = work_out(m.text);
    INFO(broken.what << "\n" << m.text << "\n" << w.sentences());
    CHECK_FALSE(w.plan);
    CHECK_FALSE(w.timeline);
    REQUIRE(w.problems.size() == 1);  // one mistake, one message
    const auto& p = w.problems[0];
    CHECK(p.at.file == "plan.json");
    CHECK(p.at.line == m.line);
    CHECK(p.at.column == m.column);
    CHECK(p.at.path == broken.path);
    CHECK_FALSE(p.found.empty());
    CHECK_FALSE(p.allowed.empty());
    for (const auto* words : broken.says) CHECK(p.sentence().find(words) != std::string::npos);
  }
}

TEST_CASE("all problems of a plan come in one go, in the order of the file") {
  const auto w = work_out(R"({
  "plan": "p",
  "control": {"axis": "position"},
  "settle": "1 V",
  "steps": [{"do": "ramp", "signal": "axis.angle_cmd", "to": "500 deg", "rate": "1 deg"},
            {"do": "hodl", "for": "1 s"},
            {"do": "repeat", "times": 0, "steps": [{"do": "ramp", "signal": "sped", "to": "1 km/h", "rate": "1 m/s^2"}]}],
  "criteria": [{"score": "delay", "steps": ["nothing"], "signals": {"input": "axis.angle"}}]
})");
  INFO(w.sentences());
  std::vector<std::string> paths;
  for (const auto& p : w.problems) paths.push_back(p.at.path);
  CHECK(paths == std::vector<std::string>{"/settle", "/steps/0/to", "/steps/0/rate", "/steps/1/do", "/steps/2/times",
                                          "/steps/2/steps/0/signal", "/criteria/0/steps/0", "/criteria/0/signals"});
}

TEST_CASE("an unknown --set is told with the nearest variable") {
  const std::string text =
      R"({"plan": "p", "variables": {"rate": "1 deg/s", "n": 3}, "steps": [{"do": "hold", "for": "1 s"}]})";
  const auto unknown = work_out(text, {{"rte", "2 deg/s"}});
  REQUIRE(unknown.problems.size() == 1);
  CHECK(unknown.problems[0].at.path == "/variables");
  CHECK(unknown.sentences().find("did you mean 'rate'?") != std::string::npos);
  const auto no_number = work_out(text, {{"n", "three"}});
  REQUIRE(no_number.problems.size() == 1);
  CHECK(no_number.sentences().find("a number") != std::string::npos);
}

TEST_CASE("a plan file that cannot be read says why") {
  const auto missing = load_plan_sources("/nowhere/plan.json");
  REQUIRE_FALSE(missing);
  CHECK(missing.error().fault == Fault::bad_input);
  CHECK(missing.error().context.find("/nowhere/plan.json") != std::string::npos);
  CHECK_FALSE(load_plan_sources("/tmp"));
}
