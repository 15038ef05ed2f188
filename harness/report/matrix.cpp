#include "harness/report/matrix.hpp"

#include <algorithm>
#include <array>
#include <cmath>

#include "harness/base/units.hpp"
#include "harness/report/limit_margin.hpp"
#include "harness/report/table.hpp"

namespace trackrod {
namespace {

CellState state_by(Verdict verdict) {
  switch (verdict) {
    case Verdict::pass:
      return CellState::pass;
    case Verdict::fail:
      return CellState::fail;
    case Verdict::inconclusive:
      return CellState::inconclusive;
    case Verdict::not_run:
      return CellState::not_run;
    case Verdict::invalid:
      return CellState::invalid;
  }
  return CellState::not_run;
}

std::string ordinal(std::size_t n) {
  const auto end = n % 100 / 10 == 1 ? "th" : n % 10 == 1 ? "st" : n % 10 == 2 ? "nd" : n % 10 == 3 ? "rd" : "th";
  return std::to_string(n) + end;
}

bool decided(CellState state) {
  return state == CellState::pass || state == CellState::fail || state == CellState::inconclusive;
}

std::size_t& count_of(Coverage& c, CellState state) {
  switch (state) {
    case CellState::pass:
      return c.pass;
    case CellState::fail:
      return c.fail;
    case CellState::inconclusive:
      return c.inconclusive;
    case CellState::not_run:
      return c.not_run;
    case CellState::invalid:
      return c.invalid;
    case CellState::waived:
      return c.waived;
    case CellState::open:
      return c.open;
    case CellState::left_out:
      return c.left_out;
  }
  return c.open;
}

void add_attempt(Coverage& c, const Cell& cell) {
  const auto& attempt = cell.attempts[cell.decides];
  c.least_repetitions =
      c.least_repetitions == 0 ? attempt.repetitions : std::min(c.least_repetitions, attempt.repetitions);
  const bool passes = state_of(cell) == CellState::pass;
  for (const auto& f : attempt.findings) {
    if (!f.judged) continue;
    ++c.limits;
    if (!passes) continue;
    if (const auto wrong = false_accept(f))
      c.false_accepts += *wrong;
    else
      ++c.unknown_accepts;
  }
}

}  // namespace

CellState measured_state(const Cell& cell) {
  if (!cell.left_out.empty()) return CellState::left_out;
  if (cell.attempts.empty()) return CellState::open;
  return state_by(cell.attempts[cell.decides].verdict);
}

CellState state_of(const Cell& cell) {
  const auto measured = measured_state(cell);
  return cell.waiver && measured != CellState::pass && measured != CellState::left_out ? CellState::waived : measured;
}

std::string state_name(CellState state) {
  switch (state) {
    case CellState::pass:
      return "pass";
    case CellState::fail:
      return "fail";
    case CellState::inconclusive:
      return "inconclusive";
    case CellState::not_run:
      return "not run";
    case CellState::invalid:
      return "invalid";
    case CellState::waived:
      return "waived";
    case CellState::open:
      return "open";
    case CellState::left_out:
      return "left out";
  }
  return "open";
}

std::string cell_words(const Cell& cell) {
  auto words = state_name(measured_state(cell));
  if (cell.attempts.size() > 1)
    words += " (" + ordinal(cell.decides + 1) + " of " + std::to_string(cell.attempts.size()) + ")";
  return state_of(cell) == CellState::waived ? "waived: " + words : words;
}

std::string cell_reason(const Cell& cell) {
  if (!cell.left_out.empty()) return cell.left_out;
  if (cell.attempts.empty()) return cell.open;
  const auto& attempt = cell.attempts[cell.decides];
  if (attempt.verdict == Verdict::pass) return "";
  std::string text;
  for (const auto& f : attempt.findings)
    if (f.judged && f.verdict == attempt.verdict)
      text += (text.empty() ? "" : "; ") + f.name + (f.reason.empty() ? "" : ": " + f.reason);
  return text;
}

std::string evidence_anchor(std::size_t matrix, std::size_t row, std::size_t column) {
  return "cell-" + std::to_string(matrix + 1) + "-" + std::to_string(row + 1) + "-" + std::to_string(column + 1);
}

Coverage coverage_of(const Matrix& matrix) {
  Coverage c;
  for (std::size_t row = 0; row < matrix.rows.size(); ++row) {
    std::size_t planned = 0, passed = 0;
    for (std::size_t column = 0; column < matrix.columns.size(); ++column) {
      const auto& cell = matrix.cell(row, column);
      const auto state = state_of(cell);
      ++count_of(c, state);
      if (state == CellState::left_out) continue;
      ++planned;
      passed += state == CellState::pass;
      c.run += decided(measured_state(cell));
      if (!cell.attempts.empty()) add_attempt(c, cell);
    }
    c.planned += planned;
    c.rows += planned > 0;
    c.rows_passed += planned > 0 && passed == planned;
  }
  return c;
}

std::string coverage_text(const Coverage& c) {
  auto text = std::to_string(c.run) + " of " + std::to_string(c.planned) + " cells run: " + std::to_string(c.pass) +
              " pass, " + std::to_string(c.fail) + " fail, " + std::to_string(c.inconclusive) + " inconclusive";
  for (const auto& [n, words] : {std::pair{c.waived, "waived"},
                                 {c.not_run, "tried in vain"},
                                 {c.invalid, "invalid"},
                                 {c.open, "open"},
                                 {c.left_out, "left out by the plan"}})
    if (n > 0) text += ", " + std::to_string(n) + " " + words;
  return text;
}

std::string false_accepts_text(double expected) { return shown(std::max(expected, 1e-6), 2); }

std::optional<CellState> whole_state(const std::vector<Finding>& beside, const std::vector<Matrix>& matrices) {
  constexpr std::array order{CellState::invalid, CellState::fail,   CellState::inconclusive, CellState::not_run,
                             CellState::open,    CellState::waived, CellState::pass};
  std::vector<CellState> there;
  if (const auto verdict = overall(beside)) there.push_back(state_by(*verdict));
  for (const auto& matrix : matrices)
    for (const auto& cell : matrix.cells) there.push_back(state_of(cell));
  for (const auto state : order)
    if (std::ranges::find(there, state) != there.end()) return state;
  return std::nullopt;
}

int exit_status(std::optional<CellState> whole) {
  if (!whole || *whole == CellState::pass) return 0;
  return *whole == CellState::fail ? 1 : 4;
}

}  // namespace trackrod
