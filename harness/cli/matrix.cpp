#include "harness/cli/matrix.hpp"

#include <algorithm>

#include "harness/report/matrix_files.hpp"

namespace trackrod {
namespace {

// The criteria that judge cells.
std::vector<bool> in_cells(const std::vector<GridCells>& grids, std::size_t criteria) {
  std::vector<bool> in(criteria, false);
  for (const auto& grid : grids)
    for (const auto& cell : grid.cells)
      for (const auto i : cell.criteria) in[i] = true;
  return in;
}

std::vector<CriterionResult> by_criterion(const Evaluation& evaluation) {
  std::vector<CriterionResult> results;
  auto finding = evaluation.findings.begin();
  auto figure = evaluation.figures.begin();
  for (const auto& scored : evaluation.scored) {
    const auto findings_end = finding + static_cast<std::ptrdiff_t>(scored.findings);
    const auto figures_end = figure + static_cast<std::ptrdiff_t>(scored.figures);
    results.push_back({{finding, findings_end}, {figure, figures_end}, scored.repetitions});
    finding = findings_end;
    figure = figures_end;
  }
  return results;
}

std::vector<std::string> refusals(const RunRecord& record) {
  std::vector<std::string> why;
  if (record.rehearsal) why.emplace_back("is a rehearsal: bench and unit were simulated.");
  if (record.imported) why.emplace_back("is a recording made elsewhere: no plan was run.");
  if (record.refused) why.emplace_back("was refused before anything moved.");
  for (const auto& reason : record.invalid) why.push_back("is invalid: " + reason);
  return why;
}

void tell_cells(const Matrix& matrix, const Console& console) {
  constexpr std::size_t most = 20;
  std::size_t more = 0, told = 0;
  for (std::size_t row = 0; row < matrix.rows.size(); ++row)
    for (std::size_t column = 0; column < matrix.columns.size(); ++column) {
      const auto& cell = matrix.cell(row, column);
      const auto state = state_of(cell);
      if (state == CellState::pass || state == CellState::left_out) continue;
      if (told++ < most)
        console.say("  " + matrix.rows[row] + " at " + matrix.columns[column] + ": " + cell_words(cell) + "; " +
                    cell_reason(cell));
      else
        ++more;
    }
  if (more > 0) console.say("  and " + std::to_string(more) + " more, in the report");
}

}  // namespace

std::vector<GridCells> judged_grids(const Loaded& loaded) {
  auto grids = grid_cells(loaded.plan_sources);
  std::erase_if(grids, [&](const GridCells& grid) {
    return std::ranges::none_of(grid.cells, [&](const GridCell& cell) {
      return std::ranges::any_of(cell.criteria, [&](auto i) { return !loaded.plan->criteria[i].limits.empty(); });
    });
  });
  return grids;
}

Evaluation beside(const Evaluation& evaluation, const std::vector<GridCells>& grids) {
  const auto in = in_cells(grids, evaluation.scored.size());
  const auto results = by_criterion(evaluation);
  Evaluation out;
  for (std::size_t i = 0; i < in.size(); ++i) {
    if (in[i]) continue;
    out.findings.insert(out.findings.end(), results[i].findings.begin(), results[i].findings.end());
    out.figures.insert(out.figures.end(), results[i].figures.begin(), results[i].figures.end());
    out.scored.push_back(evaluation.scored[i]);
  }
  return out;
}

TriedRun tried_run(const RunRecord& record, const Evaluation& evaluation) {
  return {record.id, record.started, record.ending, refusals(record), by_criterion(evaluation)};
}

std::vector<std::string> fault_names(const Loaded& loaded) {
  std::vector<std::string> names;
  for (const auto& fault : loaded.bench->faults) names.push_back(fault.name);
  return names;
}

SignOff sign_off_of(const RunRecord& record, const Loaded& loaded, const Evaluation& evaluation) {
  const auto grids = judged_grids(loaded);
  if (grids.empty()) return {};
  Problems none;  // nothing was decided
  return make_sign_off(grids, fault_names(loaded), {tried_run(record, evaluation)}, {}, "", none);
}

Result<void> write_matrix_files(const RunFolder& folder, const SignOff& sign_off) {
  if (sign_off.matrices.empty()) return {};
  if (auto w = folder.write("matrix.csv", write_matrix_csv(sign_off, "report.html")); !w) return w;
  return folder.write("matrix.xml", write_matrix_junit(sign_off, "report.html"));
}

void tell(const SignOff& sign_off, const Console& console) {
  for (const auto& matrix : sign_off.matrices) {
    const auto coverage = coverage_of(matrix);
    console.say("matrix '" + matrix.grid + "': " + coverage_text(coverage) + "; expected false accepts at most " +
                false_accepts_text(coverage.false_accepts));
    tell_cells(matrix, console);
  }
  for (const auto& why : sign_off.refused) console.say("not for sign-off: " + why);
  for (const auto& caution : sign_off.cautions) console.say(caution);
}

}  // namespace trackrod
