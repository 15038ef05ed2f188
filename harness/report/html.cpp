#include "harness/report/html.hpp"

#include "harness/report/page.hpp"
#include "harness/report/svg.hpp"
#include "harness/report/table.hpp"
#include "harness/report/text.hpp"
#include "report_css.hpp"

namespace trackrod {
namespace {

using page::element;
using page::wrap;

std::string verdict_sentence(std::optional<Verdict> verdict) {
  if (!verdict) return "Nothing was judged: no finding was held against a limit.";
  switch (*verdict) {
    case Verdict::pass:
      return "Every finding that was held against a limit meets it, each under its own decision rule.";
    case Verdict::fail:
      return "At least one finding breaks its limit.";
    case Verdict::inconclusive:
      return "No finding breaks its limit, but for at least one neither a pass nor a fail can be claimed.";
    case Verdict::not_run:
      return "No finding breaks its limit, but at least one that was asked for was not measured.";
    case Verdict::invalid:
      return "The run says nothing of the unit, whatever its values: see the reasons below.";
  }
  return "";
}

std::string verdict_block(const std::vector<Finding>& findings) {
  const auto verdict = overall(findings);
  Finding whole;  // carries the verdict of the whole, for its word and frame
  whole.judged = verdict.has_value();
  if (verdict) whole.verdict = *verdict;
  const auto counts = tally(findings);
  std::string items;
  const auto item = [&](std::size_t n, const char* words) {
    items += wrap("li", element("b", std::to_string(n)) + " " + words);
  };
  item(counts.pass, "pass");
  item(counts.fail, "fail");
  item(counts.inconclusive, "inconclusive");
  item(counts.not_run, "not run");
  if (counts.invalid > 0) item(counts.invalid, "invalid");
  item(counts.unjudged, "without a limit");
  return wrap("div",
              element("strong", verdict ? verdict_name(*verdict) : "no verdict") +
                  element("p", verdict_sentence(verdict)) + wrap("ul", items, "counts"),
              "verdict " + page::verdict_class(whole)) +
         "\n";
}

std::string matrix_sentence(CellState whole) {
  switch (whole) {
    case CellState::pass:
      return "Every cell that the plan makes passes, and every finding beside them.";
    case CellState::fail:
      return "At least one cell, or a finding beside them, breaks a limit.";
    case CellState::waived:
      return "What does not pass is waived by people, with name and reason. A waiver is no pass.";
    case CellState::open:
      return "Nothing breaks its limit, but at least one cell was never run.";
    case CellState::not_run:
      return "Nothing breaks its limit, but at least one cell was tried in vain.";
    case CellState::inconclusive:
      return "Nothing breaks its limit, but in at least one cell neither a pass nor a fail can be claimed.";
    default:
      return "At least one cell says nothing of the unit, whatever its values.";
  }
}

std::string matrix_block(const Report& report) {
  const auto whole = whole_state(report.findings, report.sign_off.matrices).value_or(CellState::open);
  std::string items;
  for (const auto& matrix : report.sign_off.matrices)
    items += element("li", matrix.grid + ": " + coverage_text(coverage_of(matrix)));
  if (const auto counts = tally(report.findings); counts.unjudged < report.findings.size())
    items += element("li", "beside the matrix: " + tally_text(counts));
  return wrap("div",
              element("strong", state_name(whole)) + element("p", matrix_sentence(whole)) + wrap("ul", items, "counts"),
              "verdict " + page::state_class(whole)) +
         "\n";
}

std::string header(const Report& report) {
  const auto& f = report.facts;
  const auto unit = f.unit + (f.unit_serial.empty() ? "" : ", serial " + f.unit_serial);
  return wrap("header", element("p", "Bench test of a steer-by-wire unit · run " + f.run, "kicker") +
                            element("h1", (unit.empty() ? std::string{"Unit not recorded"} : unit) + ": " + f.plan) +
                            element("p", f.started, "soft")) +
         "\n";
}

std::string notices(const Report& report) {
  const auto& f = report.facts;
  std::string out;
  if (f.rehearsal)
    out += wrap("div",
                element("strong", "Rehearsal.") +
                    " The unit was simulated and time was virtual. Nothing here says "
                    "anything about a real unit.",
                "notice") +
           "\n";
  if (!f.ended_as_planned)
    out += wrap("div", element("strong", "The run did not end as planned.") + " " + escaped(f.ending), "notice") + "\n";
  if (!f.invalid.empty())
    out += wrap("div", element("strong", "The run is invalid") + page::bullet_list(f.invalid), "notice") + "\n";
  if (const auto& refused = report.sign_off.refused; !refused.empty())
    out += wrap("div", element("strong", "Not for sign-off") + page::bullet_list(refused), "notice") + "\n";
  auto cautions = f.cautions;
  for (const auto& c : report.sign_off.cautions) cautions.push_back(c);
  for (auto& c : page::found_cautions(report)) cautions.push_back(std::move(c));
  if (!cautions.empty())
    out += wrap("div", element("strong", "Bear in mind") + page::bullet_list(cautions), "notice") + "\n";
  return out;
}

std::string figures(const std::vector<Figure>& all) {
  if (all.empty()) return "";
  std::string out;
  for (const auto& f : all) out += wrap("figure", draw_svg(f)) + "\n";
  return page::section("Figures", out);
}

std::string footer() {
  return wrap(
      "footer",
      element(
          "p",
          "The software stop of the harness supplements the hard-wired emergency stop and never replaces it. A unit "
          "under test, above all with a fault injected, may move at full torque. Local safety rules and the judgement "
          "of qualified people come before anything written here.") +
          element(
              "p",
              "Intervals are coverage intervals of the measured values under the conditions stated; they say nothing "
              "of conditions that were not tested.") +
          wrap("div",
               element("span", "Tested by, date") + element("span", "Reviewed by, date") +
                   element("span", "Released by, date"),
               "signature"));
}

}  // namespace

std::string write_html(const Report& report) {
  const auto& f = report.facts;
  const auto title = f.run + ": " + f.plan + ", " + f.unit;
  const bool has_matrix = !report.sign_off.matrices.empty();
  // Beside a matrix only what there is.
  const bool has_findings = !has_matrix || !report.findings.empty();
  return "<!DOCTYPE html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\" />\n"
         "<meta http-equiv=\"Content-Security-Policy\" content=\"default-src 'none'; style-src 'unsafe-inline'\" />\n"
         "<meta name=\"viewport\" content=\"width=device-width, initial-scale=1\" />\n" +
         element("title", title) + "\n<style>\n" + report_css + "</style>\n</head>\n<body>\n" + header(report) +
         (has_matrix ? matrix_block(report) : verdict_block(report.findings)) + notices(report) +
         page::matrices(report.sign_off) +
         (has_findings ? page::requirements(report.findings) + page::findings(report.findings) : "") +
         figures(report.figures) + page::evidence(report.sign_off) + page::trip(report.facts) +
         page::run_facts(report) + page::timing(report.timing) + page::calibrations(report) + page::gaps(report) +
         page::events(f.events) + footer() + "\n</body>\n</html>\n";
}

}  // namespace trackrod
