#include <algorithm>

#include "harness/base/units.hpp"
#include "harness/report/csv.hpp"
#include "harness/report/limit_margin.hpp"
#include "harness/report/matrix_files.hpp"

namespace trackrod {
namespace {

constexpr int digits = 9;

const std::vector<std::string> heads{"grid",
                                     "fault",
                                     "operating_point",
                                     "state",
                                     "verdict",
                                     "attempt",
                                     "attempts",
                                     "run",
                                     "repetitions",
                                     "limits",
                                     "worst_margin",
                                     "worst_margin_unit",
                                     "worst_margin_percent",
                                     "worst_margin_finding",
                                     "time_margin",
                                     "time_margin_unit",
                                     "time_margin_percent",
                                     "time_margin_finding",
                                     "false_accepts",
                                     "reason",
                                     "waiver_reason",
                                     "waiver_by",
                                     "waiver_date",
                                     "waiver_expires",
                                     "evidence"};

void add_margin(std::vector<std::string>& fields, const std::optional<LimitMargin>& m) {
  fields.push_back(m ? shown(m->amount, digits) : "");
  fields.push_back(m ? m->unit : "");
  fields.push_back(m && m->percent ? shown(*m->percent, digits) : "");
  fields.push_back(m ? m->finding : "");
}

void add_attempt(std::vector<std::string>& fields, const Cell& cell) {
  const auto& attempt = cell.attempts[cell.decides];
  fields.push_back(std::to_string(cell.decides + 1));
  fields.push_back(std::to_string(cell.attempts.size()));
  fields.push_back(attempt.run);
  fields.push_back(std::to_string(attempt.repetitions));
  fields.push_back(std::to_string(std::ranges::count_if(attempt.findings, &Finding::judged)));
  add_margin(fields, worst_margin(attempt.findings, MarginsOf::all));
  add_margin(fields, worst_margin(attempt.findings, MarginsOf::times));
  double wrong = 0.0;
  for (const auto& f : attempt.findings) wrong += false_accept(f).value_or(0.0);
  fields.push_back(state_of(cell) == CellState::pass ? shown(wrong, digits) : "");
}

std::string cell_line(const Matrix& matrix, std::size_t number, std::size_t row, std::size_t column,
                      const std::string& report) {
  const auto& cell = matrix.cell(row, column);
  std::vector<std::string> fields{matrix.grid, matrix.rows[row], matrix.columns[column], state_name(state_of(cell)),
                                  state_name(measured_state(cell))};
  if (cell.attempts.empty()) {
    fields.emplace_back();
    fields.emplace_back("0");
    fields.resize(std::ranges::find(heads, "reason") - heads.begin());
  } else {
    add_attempt(fields, cell);
  }
  fields.push_back(cell_reason(cell));
  const auto waiver = state_of(cell) == CellState::waived ? *cell.waiver : Waiver{};
  fields.insert(fields.end(), {waiver.reason, waiver.by, waiver.date, waiver.expires});
  fields.push_back(cell.attempts.empty() ? "" : report + "#" + evidence_anchor(number, row, column));
  return csv_line(fields);
}

}  // namespace

std::string write_matrix_csv(const SignOff& sign_off, const std::string& report) {
  auto out = csv_line(heads);
  for (std::size_t m = 0; m < sign_off.matrices.size(); ++m) {
    const auto& matrix = sign_off.matrices[m];
    for (std::size_t row = 0; row < matrix.rows.size(); ++row)
      for (std::size_t column = 0; column < matrix.columns.size(); ++column)
        out += cell_line(matrix, m, row, column, report);
  }
  return out;
}

}  // namespace trackrod
