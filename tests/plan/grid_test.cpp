// Grids of a plan, and the combinations they are made of.

#include <random>
#include <set>

#include "harness/plan/combinations.hpp"
#include "tests/catch.hpp"
#include "tests/plan/small_bench.hpp"

namespace trackrod::test {
namespace {

using namespace std::chrono_literals;

bool keeps(const Combination& c, const Exclusion& e) {
  for (std::size_t a = 0; a < c.size(); ++a)
    if (e[a] && c[a] != *e[a]) return true;
  return false;
}

// Pairs of values of two axes that some allowed combination holds, by trying them all.
std::set<std::vector<std::size_t>> pairs_in(const std::vector<Combination>& combinations) {
  std::set<std::vector<std::size_t>> pairs;
  for (const auto& c : combinations)
    for (std::size_t a = 0; a < c.size(); ++a)
      for (std::size_t b = a + 1; b < c.size(); ++b) pairs.insert({a, c[a], b, c[b]});
  return pairs;
}

Worked good(const std::string& text) {
  auto w = work_out(text);
  INFO(w.sentences());
  REQUIRE(w.timeline);
  return w;
}

std::string grid_plan(const std::string& grid, const std::string& steps) {
  return R"({"plan": "g", "control": {"axis": "position"}, "start": {"axis.angle_cmd": "0 deg"}, "variables": {"time": "1 s"}, "grids": {"g": )" +
         grid + R"(}, "steps": [)" + steps + "]}";
}
constexpr auto two_axes =
    R"({"over": {"fault": [{"name": "relay_open"}, {"name": "speed_stuck"}], "volts": [{"name": "low", "at": "8 V"}, {"name": "high", "at": "12 V"}]}})";

TEST_CASE("all combinations come once each, the last axis fastest") {
  CHECK(every_combination({2, 3}, {}) == std::vector<Combination>{{0, 0}, {0, 1}, {0, 2}, {1, 0}, {1, 1}, {1, 2}});
  CHECK(every_combination({2, 3}, {{1, std::nullopt}}) == std::vector<Combination>{{0, 0}, {0, 1}, {0, 2}});
}

TEST_CASE("every pair of values that may come together does so in few combinations") {
  std::random_device fresh;
  const auto seed = fresh();
  CAPTURE(seed);
  std::mt19937 random{seed};
  for (int turn = 0; turn < 40; ++turn) {
    std::vector<std::size_t> sizes(2 + random() % 3);
    for (auto& s : sizes) s = 1 + random() % 5;
    std::vector<Exclusion> without(random() % 4, Exclusion(sizes.size()));
    for (auto& e : without)
      for (std::size_t a = 0; a < sizes.size(); ++a)
        if (random() % 2 == 0) e[a] = random() % sizes[a];
    CAPTURE(sizes, turn);
    const auto all = every_combination(sizes, without), few = every_pair(sizes, without);
    for (const auto& c : few)
      for (const auto& e : without) CHECK(keeps(c, e));
    CHECK(pairs_in(few) == pairs_in(all));
    CHECK(few.size() <= all.size());
  }
}

TEST_CASE("four axes of three values take no more than twice the nine that an orthogonal array of strength 2 has") {
  // L9(3^4), Taguchi's table and older (Kishen 1942; from memory).
  CHECK(every_pair({3, 3, 3, 3}, {}).size() <= 18);
  CHECK(every_pair({3, 3, 3, 3}, {}).size() >= 9);
}

std::vector<std::string> names_of(const Timeline& timeline) {
  std::vector<std::string> names;
  for (const auto& step : timeline.steps()) names.push_back(step.name);
  return names;
}

TEST_CASE("the steps of a grid come once for each combination, with its values in their texts") {
  const auto w = good(grid_plan(two_axes, R"({"do": "grid", "of": "g", "steps": [
      {"do": "hold", "name": "${fault.name}.${volts.name}", "signal": "volts", "at": "${volts.at}", "for": "${time}"}]})"));
  CHECK(names_of(*w.timeline) ==
        std::vector<std::string>{"relay_open.low", "relay_open.high", "speed_stuck.low", "speed_stuck.high"});
  CHECK(w.timeline->steps()[0].channels[0].motion.end == 8.0);
  CHECK(w.timeline->steps()[1].channels[0].motion.end == 12.0);
  CHECK(w.timeline->steps()[3].length == 1s);
  CHECK(w.plan->left_out.empty());
}

TEST_CASE("a grid may stand in a repeat, and in a track the whole value of a text may be its number") {
  const auto w = good(grid_plan(R"({"over": {"times": [1, 2]}})",
                                R"({"do": "repeat", "times": 2, "steps": [{"do": "grid", "of": "g", "steps": [
      {"do": "repeat", "name": "r${times}", "times": "${times}", "steps": [{"do": "hold", "name": "h${times}", "for": "1 s"}]}]}]})"));
  CHECK(w.timeline->step_count() == 6);
}

TEST_CASE("criteria of a grid come once for each combination too") {
  auto text = grid_plan(two_axes, R"({"do": "grid", "of": "g", "steps": [
      {"do": "ramp", "name": "${fault.name}.${volts.name}", "signal": "axis.angle_cmd", "to": "9 deg", "rate": "9 deg/s", "for": "1 s"}]})");
  text.insert(text.size() - 1,
              R"(, "criteria": [{"grid": "g", "score": "delay", "steps": ["${fault.name}.${volts.name}"],
      "signals": {"input": "axis.angle", "output": "axis.angle"}}])");
  const auto w = good(text);
  REQUIRE(w.plan->criteria.size() == 4);
  CHECK(w.plan->criteria[3].steps == std::vector<std::string>{"speed_stuck.high"});
}

TEST_CASE("what a grid leaves out is said") {
  const auto some =
      good(grid_plan(R"({"over": {"a": ["x", "y"], "b": ["x", "y"]}, "without": [{"a": "x", "b": "y"}]})",
                     R"({"do": "grid", "of": "g", "steps": [{"do": "hold", "name": "${a}.${b}", "for": "1 s"}]})"));
  CHECK(names_of(*some.timeline) == std::vector<std::string>{"x.x", "y.x", "y.y"});
  REQUIRE(some.plan->left_out.size() == 1);
  CHECK(some.plan->left_out[0].find("1 of 4 combinations") != std::string::npos);
  const auto pairs = good(
      grid_plan(R"({"over": {"a": ["x", "y"], "b": ["x", "y"], "c": ["x", "y"]}, "take": "pairs"})",
                R"({"do": "grid", "of": "g", "steps": [{"do": "hold", "name": "${a}.${b}.${c}", "for": "1 s"}]})"));
  CHECK(pairs.timeline->steps().size() < 8);
  CHECK(pairs.plan->left_out.at(0).find("of 8 combinations hold every pair") != std::string::npos);
}

}  // namespace
}  // namespace trackrod::test
