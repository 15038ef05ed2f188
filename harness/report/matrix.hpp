#pragma once
// The sign-off matrix: what a unit did about each fault at each operating point, over one run or several of one plan.
// Plain values, and what they come to. Pure.

#include <cstddef>
#include <optional>
#include <string>
#include <vector>

#include "harness/score/score.hpp"

namespace trackrod {

// One run's try at a cell.
struct Attempt {
  std::string run;                    // its identifier
  Verdict verdict{Verdict::not_run};  // the worst of the findings that have a limit
  std::string set_aside;              // why it does not count; empty: it does
  std::size_t repetitions{0};         // how often each of the cell's steps was run whole
  std::vector<Finding> findings;
  std::vector<Figure> figures;
};

// A person's decision to accept a cell as it is.
struct Waiver {
  std::string reason, by;
  std::string date, expires;  // ISO 8601 days; valid on both
};

struct Cell {
  std::string left_out;           // why the plan does not make it; empty: it does
  std::string open;               // why it has no attempt; empty where it has one
  std::vector<Attempt> attempts;  // in the order of time; all of them, whether they count or not
  std::size_t decides{0};         // the attempt whose verdict stands
  std::optional<Waiver> waiver;   // one that is in force
};

struct Matrix {
  std::string grid;                   // of the plan
  std::string rows_are, columns_are;  // "fault", "point"
  std::vector<std::string> rows, columns;
  std::vector<Cell> cells;  // row by row

  const Cell& cell(std::size_t row, std::size_t column) const { return cells[row * columns.size() + column]; }
};

// One of the runs that a matrix rests on.
struct MatrixRun {
  std::string id, started, ending;
  std::string repeated_for;  // why it was run again, with name and date; empty where nobody said
};

// What was decided of a waiver: "in force", "expired on ...".
struct WaiverLine {
  std::string cells;  // "motor_1_open at slow, fast"
  Waiver waiver;
  std::string standing;
};

struct SignOff {
  std::vector<Matrix> matrices;  // mostly one; none for a plan without grids
  std::vector<MatrixRun> runs;
  std::vector<WaiverLine> waivers;
  std::vector<std::string> refused;   // why nothing in it may be signed; empty: it may
  std::vector<std::string> cautions;  // what to bear in mind
};

enum class CellState { pass, fail, inconclusive, not_run, invalid, waived, open, left_out };
// A pass needs no waiver: it stays a pass.
CellState state_of(const Cell& cell);
// As if there were no waiver.
CellState measured_state(const Cell& cell);
std::string state_name(CellState state);
// "pass", "fail (1st of 3)", "waived: inconclusive".
std::string cell_words(const Cell& cell);
// Why the cell is no pass, or is left out, in words; empty for a pass.
std::string cell_reason(const Cell& cell);
// Where the report has the evidence of a cell; counts from 1.
std::string evidence_anchor(std::size_t matrix, std::size_t row, std::size_t column);

// What a matrix covers. A waived cell counts as waived, and as nothing else.
struct Coverage {
  std::size_t planned{0};  // cells that the plan makes: all but those left out
  std::size_t run{0};      // of these with a pass, a fail or an inconclusive, waived or not
  std::size_t pass{0}, fail{0}, inconclusive{0}, not_run{0}, invalid{0}, waived{0}, open{0}, left_out{0};
  std::size_t rows{0}, rows_passed{0};  // with a planned cell; with every planned cell a pass
  std::size_t limits{0};                // that findings were held against, in the attempts that decide
  std::size_t least_repetitions{0};     // of the attempts that decide; 0 where there are none
  double false_accepts{0.0};            // expected, over the limits of cells that pass; no more, whatever they share
  std::size_t unknown_accepts{0};       // limits of these without an uncertainty, which are not in it
};
Coverage coverage_of(const Matrix& matrix);
// "153 of 153 cells run: 150 pass, ...".
std::string coverage_text(const Coverage& coverage);
// What "at most" stands before: "0.03"; never less than "1e-06", where a normal distribution says nothing any more.
std::string false_accepts_text(double expected);

// The worst of the findings beside the matrices and of all cells, in this order: invalid, fail, inconclusive, not run,
// open, waived, pass. Empty when nothing was judged.
std::optional<CellState> whole_state(const std::vector<Finding>& beside, const std::vector<Matrix>& matrices);
// 0 all pass, 1 a fail, 4 anything else.
int exit_status(std::optional<CellState> whole);

}  // namespace trackrod
