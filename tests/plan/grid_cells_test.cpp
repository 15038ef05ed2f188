// The cells of a plan's grids, for the sign-off matrix.

#include "harness/plan/grid_cells.hpp"

#include "tests/catch.hpp"
#include "tests/plan/small_bench.hpp"

namespace trackrod::test {
namespace {

std::string plan_with(const std::string& grid, const std::string& names) {
  return R"({"plan": "g", "control": {"axis": "position"}, "start": {"axis.angle_cmd": "0 deg"}, "grids": {"g": )" +
         grid +
         R"(}, "steps": [{"do": "ramp", "name": "first", "signal": "axis.angle_cmd", "to": "9 deg", "rate": "9 deg/s"},
      {"do": "grid", "of": "g", "steps": [{"do": "ramp", "name": ")" +
         names + R"(", "signal": "axis.angle_cmd", "to": "9 deg", "rate": "9 deg/s", "for": "1 s"}]}],
      "criteria": [{"score": "delay", "steps": ["first"], "signals": {"input": "axis.angle", "output": "axis.angle"}},
                   {"grid": "g", "score": "delay", "steps": [")" +
         names + R"("], "signals": {"input": "axis.angle", "output": "axis.angle"}}]})";
}

TEST_CASE("each cell of a grid knows the criteria that judge it, and why it is not made") {
  const auto text = plan_with(
      R"({"over": {"a": [{"name": "x", "v": 1}, {"name": "y", "v": 2}], "b": ["p", "q"]},
          "without": [{"a": "x", "b": "q", "why": "x needs p"}, {"a": "y", "b": "p"}]})",
      "${a.name}.${b}");
  const auto w = work_out(text);
  CAPTURE(w.sentences());
  REQUIRE(w.plan);
  const auto grids = grid_cells({{"plan.json", text}});
  REQUIRE(grids.size() == 1);
  const auto& grid = grids[0];
  CHECK(grid.axes[0].name == "a");
  CHECK(grid.axes[0].values == std::vector<std::string>{"x", "y"});
  REQUIRE(grid.cells.size() == 4);
  for (const auto& cell : grid.cells) {
    const auto name = grid.axes[0].values[cell.values[0]] + "." + grid.axes[1].values[cell.values[1]];
    CAPTURE(name);
    CHECK(cell.criteria.size() == (cell.left_out.empty() ? 1 : 0));
    for (const auto i : cell.criteria) CHECK(w.plan->criteria.at(i).steps == std::vector<std::string>{name});
  }
  CHECK(grid.cells[0].left_out.empty());
  CHECK(grid.cells[1].left_out == "x needs p");
  CHECK(grid.cells[2].left_out == "\"without\" of the plan, which tells no reason");
}

TEST_CASE("of a grid of pairs the cells that are not needed say so") {
  const auto text =
      plan_with(R"({"over": {"a": ["x", "y"], "b": ["x", "y"], "c": ["x", "y"]}, "take": "pairs"})", "${a}.${b}.${c}");
  const auto grids = grid_cells({{"plan.json", text}});
  REQUIRE(grids.size() == 1);
  CHECK(grids[0].cells.size() == 8);
  std::size_t left_out = 0;
  for (const auto& cell : grids[0].cells)
    if (!cell.left_out.empty()) {
      CHECK(cell.left_out == "its pairs of values are held by other cells");
      ++left_out;
    }
  CHECK(left_out + work_out(text).plan->criteria.size() == 9);
}

TEST_CASE("a grid that no criterion names has nothing to judge") {
  auto text = plan_with(R"({"over": {"a": ["x"]}})", "${a}");
  text.replace(text.find(R"({"grid": "g", "score")"), 13, "{");
  text.replace(text.rfind("${a}"), 4, "x");
  CHECK(grid_cells({{"plan.json", text}}).empty());
}

TEST_CASE("an axis may not be called what the reason of an exclusion is called") {
  const auto w = work_out(plan_with(R"({"over": {"why": ["x"]}})", "${why}"));
  CHECK(w.sentences().find("an axis of the name 'why'") != std::string::npos);
}

}  // namespace
}  // namespace trackrod::test
