#include "harness/signoff/waivers.hpp"

#include <algorithm>

namespace trackrod {
namespace {

std::string joined(const std::vector<std::string>& words) {
  std::string out;
  for (const auto& w : words) out += (out.empty() ? "" : ", ") + w;
  return out;
}

std::optional<std::size_t> place(const std::vector<std::string>& names, const std::string& name) {
  const auto at = std::ranges::find(names, name);
  return at == names.end() ? std::nullopt : std::optional{static_cast<std::size_t>(at - names.begin())};
}

class Applier {
 public:
  Applier(const WrittenWaiver& waiver, const std::string& today, SignOff& sign_off, Problems& problems)
      : written_{waiver}, waiver_{waiver.reason, waiver.by, waiver.date, waiver.expires.value}, problems_{problems} {
    const bool in_force = waiver.date <= today && today <= waiver.expires.value;
    bool row_known = false;
    for (auto& matrix : sign_off.matrices)
      if (const auto row = place(matrix.rows, waiver.fault.value)) {
        row_known = true;
        for (const auto& point : waiver.points.value) take(matrix, *row, point, in_force);
      }
    if (!row_known) tell_no_row(sign_off);
    const auto cells = waiver.fault.value + " at " + joined(waiver.points.value);
    auto standing = in_force              ? "in force: " + joined(covered_)
                    : today < waiver.date ? "not in force before " + waiver.date
                                          : "expired on " + waiver.expires.value;
    if (!in_force) sign_off.cautions.push_back("The waiver of " + cells + " is " + standing + ".");
    sign_off.waivers.push_back({cells, waiver_, std::move(standing)});
  }

 private:
  void tell_no_row(const SignOff& sign_off) {
    std::vector<std::string> rows;
    for (const auto& matrix : sign_off.matrices) rows.insert(rows.end(), matrix.rows.begin(), matrix.rows.end());
    problems_.add(written_.fault.at, "found \"" + written_.fault.value + "\"", "a row of the matrix",
                  did_you_mean(written_.fault.value, rows));
  }

  void take(Matrix& matrix, std::size_t row, const std::string& point, bool in_force) {
    const auto& at = written_.points.at;
    const auto column = place(matrix.columns, point);
    if (!column)
      return problems_.add(at, "found \"" + point + "\"", "a column of the matrix: " + one_of(matrix.columns),
                           did_you_mean(point, matrix.columns));
    auto& cell = matrix.cells[row * matrix.columns.size() + *column];
    const auto where = matrix.rows[row] + " at " + point;
    if (!cell.left_out.empty())
      return problems_.add(at, "a waiver for " + where + ", which the plan leaves out", "a cell that the plan makes");
    if (!in_force) return;
    if (cell.waiver)
      return problems_.add(at, "a second waiver for " + where, "one that is in force for each cell",
                           "the first is by " + cell.waiver->by + " on " + cell.waiver->date);
    cell.waiver = waiver_;
    const auto state = measured_state(cell);
    covered_.push_back(point + ": " + (state == CellState::pass ? "not needed, it passes" : state_name(state)));
  }

  const WrittenWaiver& written_;
  Waiver waiver_;
  Problems& problems_;
  std::vector<std::string> covered_;
};

}  // namespace

void apply_waivers(const std::vector<Located<WrittenWaiver>>& waivers, const std::string& today, SignOff& sign_off,
                   Problems& problems) {
  for (const auto& waiver : waivers) Applier{waiver.value, today, sign_off, problems};
}

}  // namespace trackrod
