// The sign-off matrix: which axes are rows, which attempt decides, what is open and what is left out.

#include "tests/catch.hpp"
#include "tests/signoff/made_runs.hpp"

namespace trackrod::test {
namespace {

std::string repeat(const std::string& run, const std::string& reason) {
  return R"({"repeats": [{"run": ")" + run + R"(", "reason": ")" + reason +
         R"(", "by": "N. N.", "date": "2026-11-26", "note": "what was done"}]})";
}

TEST_CASE("the axis that names faults of the bench goes down, the others across, whatever their order in the plan") {
  const auto m = made({made_run("one", but(3, Verdict::fail))});
  CHECK(m.problems.none());
  CHECK(m.matrix().rows_are == "fault");
  CHECK(m.matrix().columns_are == "point");
  CHECK(m.matrix().rows == std::vector<std::string>{"wire_a_open", "wire_b_open"});
  CHECK(m.matrix().columns == std::vector<std::string>{"slow", "town", "fast"});
  CHECK(state_of(m.matrix().cell(1, 1)) == CellState::fail);  // cell 3 of the grid: town, wire_b_open
  CHECK(state_of(m.matrix().cell(0, 1)) == CellState::pass);
}

TEST_CASE("faults that come two at a time make one row for each pair") {
  GridCells grid{"pairs", {{"one", {"wire_a_open"}}, {"speed", {"10 km/h", "60 km/h"}}, {"two", {"wire_b_open"}}}, {}};
  grid.cells = {{{0, 0, 0}, "", {0}}, {{0, 1, 0}, "", {1}}};
  const auto m = made({made_run("one", all_pass())}, "{}", "2026-12-01", grid);
  CHECK(m.matrix().rows == std::vector<std::string>{"wire_a_open + wire_b_open"});
  CHECK(m.matrix().columns == std::vector<std::string>{"10 km/h", "60 km/h"});
}

TEST_CASE("a grid of no faults has its first axis down, and one of a single axis one column") {
  GridCells grid{"volts", {{"volts", {"9 V", "12 V"}}}, {}};
  grid.cells = {{{0}, "", {0}}, {{1}, "", {1}}};
  const auto m = made({made_run("one", all_pass())}, "{}", "2026-12-01", grid);
  CHECK(m.matrix().rows == std::vector<std::string>{"9 V", "12 V"});
  CHECK(m.matrix().columns == std::vector<std::string>{"all"});
}

TEST_CASE("a cell that no run reached is open and says how the run ended; one tried in vain is not run") {
  const auto m = made({made_run("one", but(0, Verdict::not_run), 5)});
  CHECK(state_of(m.matrix().cell(1, 2)) == CellState::open);
  CHECK(cell_reason(m.matrix().cell(1, 2)) == "not reached; the run ended: tripped (interlock)");
  CHECK(state_of(m.matrix().cell(0, 0)) == CellState::not_run);
  CHECK(cell_reason(m.matrix().cell(0, 0)) == "degraded.warning_time: the fault did not take");
  const auto c = coverage_of(m.matrix());
  CHECK(c.planned == 6);
  CHECK(c.run == 4);
  CHECK(c.open == 1);
  CHECK(c.not_run == 1);
  CHECK(exit_status(whole_state({}, m.sign_off.matrices)) == 4);
}

TEST_CASE("what the plan leaves out is listed with the reason and is not planned") {
  auto grid = small_grid();
  grid.cells[4].left_out = "no fast driving without wire a";
  grid.cells[4].criteria.clear();
  const auto m = made({made_run("one", all_pass())}, "{}", "2026-12-01", grid);
  CHECK(state_of(m.matrix().cell(0, 2)) == CellState::left_out);
  CHECK(cell_reason(m.matrix().cell(0, 2)) == "no fast driving without wire a");
  CHECK(coverage_of(m.matrix()).planned == 5);
  CHECK(coverage_of(m.matrix()).rows_passed == 2);
  CHECK(exit_status(whole_state({}, m.sign_off.matrices)) == 0);
}

TEST_CASE("a later pass does not wash out a fail for which nobody gave a reason") {
  const auto m = made({made_run("one", but(0, Verdict::fail)), made_run("two", all_pass())});
  CHECK(cell_words(m.matrix().cell(0, 0)) == "fail (1st of 2)");
  CHECK(cell_words(m.matrix().cell(0, 1)) == "pass (2nd of 2)");
  REQUIRE(m.sign_off.cautions.size() == 1);
  CHECK(m.sign_off.cautions[0].find("Nobody said why run two was made again") == 0);
}

TEST_CASE("a repeat with a reason sets earlier attempts aside, and they stay, numbered") {
  for (const std::string reason : {"bench fault", "wrong set-up", "unit repaired"}) {
    const auto m = made({made_run("one", but(0, Verdict::fail)), made_run("two", all_pass())}, repeat("two", reason));
    CAPTURE(reason, m.said());
    const auto& cell = m.matrix().cell(0, 0);
    CHECK(cell_words(cell) == "pass (2nd of 2)");
    REQUIRE(cell.attempts.size() == 2);
    CHECK(cell.attempts[0].verdict == Verdict::fail);
    CHECK(cell.attempts[0].set_aside == "repeated for " + reason + " (what was done), N. N., 2026-11-26");
    CHECK(m.sign_off.cautions.empty());
  }
}

TEST_CASE("a planned repeat counts together with what was before it") {
  const auto m = made({made_run("one", but(0, Verdict::fail)), made_run("two", all_pass())}, repeat("two", "planned"));
  CHECK(cell_words(m.matrix().cell(0, 0)) == "fail (1st of 2)");
  CHECK(m.sign_off.cautions.empty());
}

TEST_CASE("a repeat that was tried in vain sets nothing aside, and does not decide") {
  const auto m = made({made_run("one", but(0, Verdict::fail)), made_run("two", but(0, Verdict::not_run))},
                      repeat("two", "bench fault"));
  CHECK(cell_words(m.matrix().cell(0, 0)) == "fail (1st of 2)");
}

TEST_CASE("after a repair it is said how many cells rest on attempts from before") {
  const auto m = made({made_run("one", all_pass()), made_run("two", all_pass(), 2)}, repeat("two", "unit repaired"));
  REQUIRE(m.sign_off.cautions.size() == 1);
  CHECK(m.sign_off.cautions[0] == "The unit was repaired before run two, and 4 cells rest on attempts from before.");
  CHECK(cell_words(m.matrix().cell(0, 0)) == "pass (2nd of 2)");
  CHECK(cell_words(m.matrix().cell(1, 2)) == "pass");
}

TEST_CASE("a third attempt that decides says so") {
  const auto m = made({made_run("one", all_pass()), made_run("two", all_pass()), made_run("three", all_pass())});
  CHECK(cell_words(m.matrix().cell(0, 0)) == "pass (3rd of 3)");
}

TEST_CASE("a repeat that names no later run is refused at its place") {
  for (const std::string run : {"one", "tow"}) {
    const auto m = made({made_run("one", all_pass()), made_run("two", all_pass())}, repeat(run, "planned"));
    CHECK(m.said().find("sign-off.json:1:22: /repeats/0/run: found \"" + run +
                        "\"; allowed: a run but the first: 'two'") == 0);
  }
}

TEST_CASE("runs that may not be signed say why") {
  auto run = made_run("one", all_pass());
  run.refused = {"is a rehearsal."};
  CHECK(made({run}).sign_off.refused == std::vector<std::string>{"Run one is a rehearsal."});
}

}  // namespace
}  // namespace trackrod::test
