#include <algorithm>
#include <map>

#include "harness/base/units.hpp"
#include "harness/report/limit_margin.hpp"
#include "harness/report/page.hpp"
#include "harness/report/text.hpp"

namespace trackrod::page {
namespace {

// A sign beside the word, so that a column is read at a glance, in grey too.
std::string sign_of(CellState state) {
  switch (state) {
    case CellState::pass:
      return "✓";
    case CellState::fail:
      return "✗";
    case CellState::waived:
      return "≈";
    case CellState::open:
      return "○";
    case CellState::left_out:
      return "·";
    default:
      return "?";
  }
}

std::string short_name(const std::string& finding) { return finding.substr(finding.find('.') + 1); }

std::string margin_line(const LimitMargin& m) {
  return element("span", margin_text(m) + " " + short_name(m.finding), "margin");
}

// Time first, as times are what a fault is judged by; the worst beside it where it is another.
std::string margins(const std::vector<Finding>& findings) {
  const auto time = worst_margin(findings, MarginsOf::times), worst = worst_margin(findings, MarginsOf::all);
  auto out = time ? margin_line(*time) : "";
  if (worst && (!time || worst->finding != time->finding)) out += margin_line(*worst);
  return out;
}

std::string table_cell(const Matrix& matrix, std::size_t number, std::size_t row, std::size_t column, bool tell_shots) {
  const auto& cell = matrix.cell(row, column);
  const auto state = state_of(cell);
  auto inside = element("b", sign_of(state) + " " + cell_words(cell));
  if (!cell.attempts.empty()) {
    const auto& attempt = cell.attempts[cell.decides];
    inside += margins(attempt.findings);
    if (tell_shots && attempt.repetitions == 1) inside += element("span", "one shot", "margin");
    inside = link(evidence_anchor(number, row, column), inside);
  }
  return wrap("td", inside, "cell " + state_class(state));
}

// A row of which the plan makes no cell is only listed: of pairs there are many.
bool has_planned(const Matrix& matrix, std::size_t row) {
  for (std::size_t column = 0; column < matrix.columns.size(); ++column)
    if (matrix.cell(row, column).left_out.empty()) return true;
  return false;
}

std::string grid_table(const Matrix& matrix, std::size_t number, bool tell_shots) {
  std::string head = "<th scope=\"col\">" + escaped(matrix.rows_are + " \\ " + matrix.columns_are) + "</th>", body;
  for (const auto& column : matrix.columns) head += "<th scope=\"col\">" + escaped(column) + "</th>";
  for (std::size_t row = 0; row < matrix.rows.size(); ++row) {
    if (!has_planned(matrix, row)) continue;
    body += "<tr><th scope=\"row\">" + escaped(matrix.rows[row]) + "</th>";
    for (std::size_t column = 0; column < matrix.columns.size(); ++column)
      body += table_cell(matrix, number, row, column, tell_shots);
    body += "</tr>\n";
  }
  return wrap("div",
              "<table class=\"matrix\"><thead><tr>" + head + "</tr></thead>\n<tbody>" + body + "</tbody></table>",
              "wide");
}

Facts coverage_facts(const Matrix& matrix, const Coverage& c) {
  const auto of = [](std::size_t n, std::size_t all) { return std::to_string(n) + " of " + std::to_string(all); };
  auto accepts = "at most " + false_accepts_text(c.false_accepts) + " among " + std::to_string(c.pass) +
                 " cells that pass, by the probability of conformity of each limit (JCGM 106:2012)";
  if (c.unknown_accepts > 0)
    accepts += "; " + std::to_string(c.unknown_accepts) + " limits have no uncertainty and are not in it";
  return {{"cells", coverage_text(c)},
          {matrix.rows_are + ": every cell passes", of(c.rows_passed, c.rows)},
          {"limits judged", std::to_string(c.limits)},
          {"expected false accepts", accepts}};
}

std::string shots_note(const Coverage& c) {
  if (c.least_repetitions != 1) return "";
  return element("p",
                 "One shot: a cell whose steps were run once shows that the unit reacted, and how. It shows no margin: "
                 "how soon a fault is found depends on where it falls in the unit's diagnostic cycle, and the worst "
                 "case takes many (59 for 95 % of all with 95 % confidence).",
                 "soft");
}

// Cells in that state, by their reason; of very many the first, as matrix.csv has them all.
std::string listed(const Matrix& matrix, CellState state, const std::string& title) {
  constexpr std::size_t most = 60;
  struct Cells {
    std::string names;
    std::size_t count{0};
  };
  std::map<std::string, Cells> by_reason;
  std::size_t count = 0;
  for (std::size_t row = 0; row < matrix.rows.size(); ++row)
    for (std::size_t column = 0; column < matrix.columns.size(); ++column) {
      const auto& cell = matrix.cell(row, column);
      if (state_of(cell) != state) continue;
      auto& cells = by_reason[cell_reason(cell)];
      if (cells.count++ < most)
        cells.names += (cells.names.empty() ? "" : ", ") + matrix.rows[row] + " at " + matrix.columns[column];
      ++count;
    }
  if (count == 0) return "";
  std::vector<std::vector<std::string>> rows;
  for (const auto& [reason, cells] : by_reason)
    rows.push_back({escaped(cells.count > most ? cells.names + " and " + std::to_string(cells.count - most) + " more"
                                               : cells.names),
                    escaped(reason)});
  return element("h3", title + ": " + std::to_string(count)) + table({"cells", "why"}, rows, "");
}

// What each requirement comes to over the attempts that decide.
std::string by_requirement(const Matrix& matrix) {
  std::map<std::string, std::map<Verdict, std::size_t>> counts;
  for (const auto& cell : matrix.cells)
    if (!cell.attempts.empty())
      for (const auto& f : cell.attempts[cell.decides].findings)
        if (f.judged) ++counts[f.requirement.empty() ? "none named" : f.requirement][f.verdict];
  std::vector<std::vector<std::string>> rows;
  for (auto& [requirement, n] : counts) {
    std::vector<std::string> row{escaped(requirement)};
    for (const auto v : {Verdict::pass, Verdict::fail, Verdict::inconclusive, Verdict::not_run, Verdict::invalid})
      row.push_back(std::to_string(n[v]));
    rows.push_back(std::move(row));
  }
  return element("h3", "By requirement, in limits") +
         table({"requirement", "pass", "fail", "inconclusive", "not run", "invalid"}, rows, "");
}

std::string one_matrix(const Matrix& matrix, std::size_t number) {
  const auto c = coverage_of(matrix);
  bool all_once = true;
  for (const auto& cell : matrix.cells)
    all_once = all_once && (cell.attempts.empty() || cell.attempts[cell.decides].repetitions == 1);
  return section(
      "Sign-off matrix: " + matrix.grid,
      facts_table(coverage_facts(matrix, c)) +
          element("p",
                  "In each cell: the verdict, with the attempt that decides where there are several, and the margins: "
                  "limit less value, in per cent of the limit. Counts have none. The first is the least of the times, "
                  "the second the least of all where it is another. Each cell leads to its evidence.",
                  "soft") +
          shots_note(c) + grid_table(matrix, number, !all_once) + by_requirement(matrix) +
          listed(matrix, CellState::fail, "Failed") + listed(matrix, CellState::inconclusive, "Inconclusive") +
          listed(matrix, CellState::invalid, "Invalid") + listed(matrix, CellState::not_run, "Tried in vain") +
          listed(matrix, CellState::open, "Open") + listed(matrix, CellState::left_out, "Left out by the plan"));
}

std::string waivers(const std::vector<WaiverLine>& all) {
  if (all.empty()) return "";
  std::vector<std::vector<std::string>> rows;
  for (const auto& w : all)
    rows.push_back({escaped(w.cells), escaped(w.waiver.reason), escaped(w.waiver.by), escaped(w.waiver.date),
                    escaped(w.waiver.expires), escaped(w.standing)});
  return section("Waivers", element("p",
                                    "A waiver is a decision of people to accept a cell as it is. It turns no fail into "
                                    "a pass.",
                                    "soft") +
                                table({"cells", "reason", "by", "on", "until", "standing"}, rows, ""));
}

std::string runs(const std::vector<MatrixRun>& all) {
  if (all.size() < 2) return "";
  std::vector<std::vector<std::string>> rows;
  for (const auto& r : all)
    rows.push_back({escaped(r.id), escaped(r.started), escaped(r.ending), escaped(r.repeated_for)});
  return section("Runs of the matrix", table({"run", "started", "ended", "run again for"}, rows, ""));
}

}  // namespace

std::string state_class(CellState state) {
  auto name = state_name(state);
  std::ranges::replace(name, ' ', '-');
  return name;
}

std::string matrices(const SignOff& sign_off) {
  std::string out;
  for (std::size_t m = 0; m < sign_off.matrices.size(); ++m) out += one_matrix(sign_off.matrices[m], m);
  return out + waivers(sign_off.waivers) + runs(sign_off.runs);
}

}  // namespace trackrod::page
