#include "harness/report/limit_margin.hpp"
#include "harness/report/matrix_files.hpp"
#include "harness/report/text.hpp"

namespace trackrod {
namespace {

struct Counts {
  std::size_t tests{0}, failures{0}, errors{0}, skipped{0};

  void add(const Counts& o) { tests += o.tests, failures += o.failures, errors += o.errors, skipped += o.skipped; }
  std::string attributes() const {
    const auto one = [](const char* name, std::size_t n) {
      return " " + std::string{name} + "=\"" + std::to_string(n) + "\"";
    };
    return one("tests", tests) + one("failures", failures) + one("errors", errors) + one("skipped", skipped);
  }
};

std::string attribute(const std::string& name, const std::string& value) {
  return " " + name + "=\"" + escaped(value) + "\"";
}

std::string waived_by(const Waiver& w) { return w.reason + " (" + w.by + ", " + w.date + ", until " + w.expires + ")"; }

// The element inside a test case that tells what it came to; none for a pass.
std::string outcome(const Cell& cell, Counts& counts) {
  const auto state = state_of(cell);
  const auto reason = cell_reason(cell);
  switch (state) {
    case CellState::pass:
      return "";
    case CellState::fail:
      ++counts.failures;
      return "      <failure" + attribute("type", "fail") + attribute("message", reason) + "/>\n";
    case CellState::waived:
      ++counts.skipped;
      return "      <skipped" + attribute("message", cell_words(cell) + ": " + waived_by(*cell.waiver)) + "/>\n";
    case CellState::left_out:
      ++counts.skipped;
      return "      <skipped" + attribute("message", "left out: " + reason) + "/>\n";
    default:
      ++counts.errors;
      return "      <error" + attribute("type", state_name(state)) + attribute("message", reason) + "/>\n";
  }
}

// Every attempt with what it came to, the margins of the one that decides, and where the evidence is.
std::string told(const Cell& cell, const std::string& evidence) {
  if (cell.attempts.empty()) return "";
  std::string text;
  for (std::size_t i = 0; i < cell.attempts.size(); ++i) {
    const auto& a = cell.attempts[i];
    text += "attempt " + std::to_string(i + 1) + ": " + verdict_name(a.verdict) + ", run " + a.run +
            (a.set_aside.empty() ? "" : ", set aside: " + a.set_aside) + "\n";
  }
  const auto& findings = cell.attempts[cell.decides].findings;
  if (const auto m = worst_margin(findings, MarginsOf::times))
    text += "time margin: " + margin_text(*m) + ", " + m->finding + "\n";
  if (const auto m = worst_margin(findings, MarginsOf::all))
    text += "worst margin: " + margin_text(*m) + ", " + m->finding + "\n";
  return "      <system-out>" + escaped(text + "evidence: " + evidence) + "</system-out>\n";
}

std::string suite(const Matrix& matrix, std::size_t number, const std::string& report, Counts& all) {
  Counts counts;
  std::string cases;
  for (std::size_t row = 0; row < matrix.rows.size(); ++row)
    for (std::size_t column = 0; column < matrix.columns.size(); ++column) {
      const auto& cell = matrix.cell(row, column);
      ++counts.tests;
      const auto inside = outcome(cell, counts) + told(cell, report + "#" + evidence_anchor(number, row, column));
      cases += "    <testcase" + attribute("classname", matrix.grid + "." + matrix.rows[row]) +
               attribute("name", matrix.columns[column]);
      cases += inside.empty() ? "/>\n" : ">\n" + inside + "    </testcase>\n";
    }
  all.add(counts);
  return "  <testsuite" + attribute("name", matrix.grid) + counts.attributes() + ">\n" + cases + "  </testsuite>\n";
}

}  // namespace

std::string write_matrix_junit(const SignOff& sign_off, const std::string& report) {
  Counts all;
  std::string suites;
  for (std::size_t m = 0; m < sign_off.matrices.size(); ++m) suites += suite(sign_off.matrices[m], m, report, all);
  return "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n<testsuites" + attribute("name", "trackrod") + all.attributes() +
         ">\n" + suites + "</testsuites>\n";
}

}  // namespace trackrod
