#include "harness/report/limit_margin.hpp"
#include "harness/report/page.hpp"
#include "harness/report/rounding.hpp"
#include "harness/report/svg.hpp"
#include "harness/report/text.hpp"

namespace trackrod::page {
namespace {

// What was held against a limit, one line each.
std::string limits(const std::vector<Finding>& findings) {
  std::vector<std::vector<std::string>> rows;
  for (const auto& f : findings) {
    if (!f.judged) continue;
    const auto margin = margin_of(f);
    const auto about = f.reason.empty() ? "" : element("p", f.reason);
    rows.push_back({verdict_badge(f), escaped(f.requirement), escaped(f.name) + about + budget(f),
                    element("span", value_text(f), "number"), element("span", limit_text(f), "number"),
                    element("span", margin ? margin_text(*margin) : "", "number")});
  }
  return table({"verdict", "requirement", "finding", "value", "limit", "margin"}, rows,
               "Nothing was held against a limit.");
}

std::string of_attempt(const Attempt& attempt, std::size_t number, std::size_t of) {
  std::string out;
  if (of > 1)
    out += element("h3", "Attempt " + std::to_string(number) + " of " + std::to_string(of) + ": " +
                             verdict_name(attempt.verdict)) +
           element("p",
                   "Run " + attempt.run + (attempt.set_aside.empty() ? "" : ". Set aside: " + attempt.set_aside) + ".",
                   "soft");
  out += (attempt.findings.empty() ? "" : conditions(attempt.findings.front().conditions)) + limits(attempt.findings);
  std::vector<const Finding*> others;
  for (const auto& f : attempt.findings)
    if (!f.judged) others.push_back(&f);
  if (!others.empty()) out += wrap("div", digest(others.front()->step, others), "digest");
  for (const auto& f : attempt.figures) out += wrap("figure", draw_svg(f)) + "\n";
  return out;
}

// The anchor stands inside, so that following a link to it unfolds the cell.
std::string of_cell(const Matrix& matrix, std::size_t number, std::size_t row, std::size_t column) {
  const auto& cell = matrix.cell(row, column);
  if (cell.attempts.empty()) return "";
  std::string inside;
  for (std::size_t i = 0; i < cell.attempts.size(); ++i)
    inside += of_attempt(cell.attempts[i], i + 1, cell.attempts.size());
  const auto words = matrix.rows[row] + " at " + matrix.columns[column] + ": " + cell_words(cell);
  return wrap("details",
              element("summary", words) + "<div id=\"" + evidence_anchor(number, row, column) + "\">" + inside +
                  "</div>",
              "evidence " + state_class(state_of(cell))) +
         "\n";
}

}  // namespace

std::string evidence(const SignOff& sign_off) {
  std::string out;
  for (std::size_t m = 0; m < sign_off.matrices.size(); ++m) {
    const auto& matrix = sign_off.matrices[m];
    for (std::size_t row = 0; row < matrix.rows.size(); ++row)
      for (std::size_t column = 0; column < matrix.columns.size(); ++column) out += of_cell(matrix, m, row, column);
  }
  if (out.empty()) return "";
  return section(
      "Evidence of each cell",
      element("p",
              "Values are given with half their interval, rounded by it. On paper, cells that pass show their "
              "limits alone; findings.json has the rest.",
              "soft") +
          out);
}

}  // namespace trackrod::page
