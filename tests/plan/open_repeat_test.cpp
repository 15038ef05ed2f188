// Repeats that end by time or when they are told to, and what is run between their passes.

#include "tests/catch.hpp"
#include "tests/plan/small_bench.hpp"

using namespace trackrod;
using namespace trackrod::test;
using namespace std::chrono_literals;

namespace {

constexpr char there_and_back[] =
    R"("steps": [{"do": "ramp", "name": "up", "signal": "axis.angle_cmd", "to": "30 deg", "rate": "100 deg/s"},
                 {"do": "ramp", "name": "down", "signal": "axis.angle_cmd", "to": "0 deg", "rate": "100 deg/s"}])";

std::string repeat(const std::string& keys) { return R"({"do": "repeat", )" + keys + ", " + there_and_back + "}"; }

// Names with their cycles, "up 0", of the first so many steps.
std::vector<std::string> walk(Timeline::Cursor& cursor, std::size_t most) {
  std::vector<std::string> names;
  for (; cursor.current() != nullptr && names.size() < most; cursor.next())
    names.push_back(cursor.current()->name + " " + std::to_string(cursor.cycle()));
  return names;
}

using Names = std::vector<std::string>;

}  // namespace

TEST_CASE("a repeat without end goes on until it is told to end, and then what follows it is run") {
  const auto w = work_out(plan_of(repeat(R"("endless": true)") + R"(, {"do": "hold", "name": "rest", "for": "1 s"})"));
  INFO(w.sentences());
  REQUIRE(w.timeline);
  CHECK(w.timeline->is_endless());
  CHECK(w.timeline->length() == 600ms + 1s);  // one pass of it
  Timeline::Cursor cursor{*w.timeline};
  CHECK(walk(cursor, 2001).back() == "up 1000");
  REQUIRE(cursor.repeat() != nullptr);
  CHECK(cursor.passes() == 1001);
  cursor.end_repeat(*cursor.repeat(), 1002);
  CHECK(walk(cursor, 10) == Names{"down 1000", "up 1001", "down 1001", "rest 0"});
}

TEST_CASE("a repeat by time counts with the pass that is under way when its time is over") {
  // 600 ms a pass; 4 have begun at 2 s.
  const auto w = work_out(plan_of(repeat(R"("lasts": "2 s")")));
  REQUIRE(w.timeline);
  CHECK_FALSE(w.timeline->is_endless());
  CHECK(w.timeline->length() == 5 * 600ms);
  CHECK(w.timeline->step_count() == 10);
}

TEST_CASE("a check is run after every so many passes, and its own cycles are counted") {
  const auto check = [](int every) {
    return R"("check": {"every": )" + std::to_string(every) +
           R"(, "steps": [{"do": "hold", "name": "look", "for": "1 s"}]})";
  };
  const auto w = work_out(plan_of(repeat(R"("times": 5, )" + check(2))));
  INFO(w.sentences());
  REQUIRE(w.timeline);
  Timeline::Cursor cursor{*w.timeline};
  CHECK(walk(cursor, 100) == Names{"up 0", "down 0", "up 1", "down 1", "look 0", "up 2", "down 2", "up 3", "down 3",
                                   "look 1", "up 4", "down 4"});
  CHECK(w.timeline->length() == 5 * 600ms + 2 * 1s);
  CHECK(w.timeline->step_count() == 12);

  SECTION("one that is told to end in a check ends after it") {
    const auto endless = work_out(plan_of(repeat(R"("endless": true, )" + check(1))));
    REQUIRE(endless.timeline);
    Timeline::Cursor c{*endless.timeline};
    CHECK(walk(c, 2) == Names{"up 0", "down 0"});
    CHECK(c.passes() == 1);
    c.end_repeat(*c.repeat(), c.passes());
    CHECK(walk(c, 10) == Names{"look 0"});
  }
}

TEST_CASE("what a repeat cannot be") {
  const auto refused = [](const std::string& steps) {
    const auto w = work_out(plan_of(steps));
    CHECK_FALSE(w.timeline);
    return w.sentences();
  };
  using Catch::Contains;
  CHECK_THAT(refused(R"({"do": "repeat", "steps": [{"do": "hold", "for": "1 s"}]})"), Contains("'endless'"));
  CHECK_THAT(refused(repeat(R"("times": 2, "lasts": "1 s")")), Contains("several ways"));
  CHECK_THAT(refused(R"({"do": "repeat", "times": 2, "steps": [)" + repeat(R"("endless": true)") + "]}"),
             Contains("'endless' in a repeat inside"));
  CHECK_THAT(
      refused(repeat(
          R"("times": 2, "check": {"every": 1, "steps": [{"do": "ramp", "name": "away", "signal": "axis.angle_cmd", "to": "10 deg", "rate": "10 deg/s"}]})")),
      Contains("'axis.angle_cmd' is not back at the end of the check"));
  CHECK_THAT(
      refused(repeat(R"("times": 2, "check": {"every": 1, "steps": [{"do": "hold", "name": "up", "for": "1 s"}]})")),
      Contains("a second time"));
}

TEST_CASE("what is followed while a run goes on stands in the outermost repeat, and one repeat keeps a part") {
  const auto sentences = [](const std::string& steps, const std::string& criteria) {
    const auto text = R"({"plan": "p", "control": {"axis": "position"}, "steps": [)" + steps + R"(], "criteria": [)" +
                      criteria + "]}";
    const auto w = work_out(text);
    return w.timeline ? std::string{} : w.sentences();
  };
  const std::string by_cycle =
      R"({"score": "trend", "steps": ["a"], "signals": {"input": "axis.angle"}, "limits": [{"finding": "change", "at_most": "1 %", "stops": true}]})";
  const auto in_repeat = [](const std::string& keys, const std::string& inner) {
    return R"({"do": "repeat", "times": 9)" + keys + R"(, "steps": [)" + inner + "]}";
  };
  const std::string a = R"({"do": "hold", "name": "a", "for": "1 s"})",
                    b = R"({"do": "hold", "name": "b", "for": "1 s"})";
  CHECK(sentences(in_repeat("", a), by_cycle).empty());
  CHECK(sentences(in_repeat(R"(, "keep": {})", a), "").empty());
  using Catch::Contains;
  CHECK_THAT(sentences(a, by_cycle), Contains("followed cycle by cycle"));
  CHECK_THAT(sentences(in_repeat("", b + ", " + in_repeat("", a)), by_cycle), Contains("outermost repeat"));
  CHECK_THAT(sentences(in_repeat(R"(, "keep": {})", a) + ", " + in_repeat(R"(, "keep": {})", b), ""),
             Contains("2 repeats with 'keep'"));
  CHECK_THAT(sentences(in_repeat(R"(, "keep": {})", in_repeat("", a)), ""), Contains("begins with another repeat"));
  CHECK_THAT(sentences(in_repeat(R"(, "keep": {"before": "2 s"})", a), ""), Contains("10 s"));
  CHECK_THAT(
      sentences(
          in_repeat("", a),
          R"({"score": "delay", "steps": ["a"], "signals": {"input": "axis.angle", "output": "axis.angle"}, "limits": [{"finding": "dead_time", "at_most": "1 ms", "stops": true}]})"),
      Contains("\"score\": \"drift\", \"of\": {\"score\": \"delay\"}"));
}
