// The sign-off matrix in report.html.

#include <set>

#include "tests/catch.hpp"
#include "tests/report/judges.hpp"
#include "tests/report/made_matrix.hpp"

using namespace trackrod;

namespace {

bool has(const std::string& text, const std::string& part) { return text.find(part) != std::string::npos; }

Report with_matrix() {
  auto r = example::report();
  r.sign_off = example::sign_off();
  r.findings.clear();
  r.figures.clear();
  return r;
}

std::set<std::string> all_between(const std::string& text, const std::string& before, const std::string& after) {
  std::set<std::string> found;
  for (auto at = text.find(before); at != std::string::npos; at = text.find(before, at + 1)) {
    const auto from = at + before.size();
    found.insert(text.substr(from, text.find(after, from) - from));
  }
  return found;
}

}  // namespace

TEST_CASE("a page with a matrix is well-formed, and leads nowhere but into itself") {
  const auto page = write_html(with_matrix());
  const auto tags = judges::html(page);
  CAPTURE(tags.said);
  CHECK(tags.good);
  CHECK(judges::xml(page.substr(page.find("<html"))).good);
  const auto links = all_between(page, "href=\"", "\""), anchors = all_between(page, " id=\"", "\"");
  CHECK(links.size() == 6);  // each cell that was tried
  for (const auto& link : links) {
    CAPTURE(link);
    REQUIRE(link.substr(0, 1) == "#");
    CHECK(anchors.count(link.substr(1)) == 1);
  }
}

TEST_CASE("the matrix comes first, with a word and a sign in each cell and the margins below") {
  const auto page = write_html(with_matrix());
  const auto matrix = page.find("<h2>Sign-off matrix: campaign</h2>");
  REQUIRE(matrix != std::string::npos);
  CHECK(page.find("<h2>") == matrix);
  CHECK(matrix < page.find("<h2>Evidence of each cell</h2>"));
  for (const auto* part :
       {"✓ pass", "✗ fail (2nd of 3)", "≈ waived: fail", "○ open", "· left out", "? inconclusive", "? not run",
        "<span class=\"margin\">60 ms (40 %) warning_time</span><span class=\"margin\">0.3 deg (5 %) departure</span>",
        "<th scope=\"row\">b, &quot;short&quot;</th>"})
    CHECK(has(page, part));
}

TEST_CASE("coverage, open cells, waivers, runs and what keeps it from being signed are listed") {
  const auto page = write_html(with_matrix());
  for (const auto* part :
       {"5 of 7 cells run: 1 pass, 2 fail", "<h3>Open: 1</h3>", "not reached; the run ended: tripped",
        "<h3>Left out by the plan: 1</h3>", "c_stuck at slow", "<h2>Waivers</h2>", "changed in the next sample",
        "in force: slow: fail", "<h2>Runs of the matrix</h2>", "Not for sign-off",
        "One shot:", "expected false accepts", "<strong>fail</strong>", "Set aside: repeated for bench fault"})
    CHECK(has(page, part));
}

TEST_CASE("of the many pairs that are not needed a page names some, and has no rows of nothing else") {
  auto r = with_matrix();
  auto& m = r.sign_off.matrices[0];
  Cell not_needed;
  not_needed.left_out = "its pairs of values are held by other cells";
  for (int i = 0; i < 50; ++i) {
    m.rows.push_back("pair " + std::to_string(i));
    m.cells.insert(m.cells.end(), {not_needed, not_needed});
  }
  const auto page = write_html(r);
  CHECK(has(page, "pair 29 at fast and 40 more"));
  CHECK_FALSE(has(page, "<th scope=\"row\">pair"));
}

TEST_CASE("beside a matrix the page has no empty lists of findings") {
  CHECK_FALSE(has(write_html(with_matrix()), "<h2>Requirements</h2>"));
  auto r = with_matrix();
  r.findings = example::findings();
  const auto page = write_html(r);
  CHECK(has(page, "<h2>Requirements</h2>"));
  CHECK(has(page, "beside the matrix: 1 pass, 1 fail"));
}

TEST_CASE("names with signs of markup stay text in the matrix too") {
  auto r = with_matrix();
  const std::string evil = "<evil a='1' b=\"2\">&amp;";
  auto& s = r.sign_off;
  auto& m = s.matrices[0];
  m.grid = m.rows_are = m.columns_are = evil;
  for (auto& name : m.rows) name = evil;
  for (auto& name : m.columns) name = evil;
  for (auto& cell : m.cells) {
    if (!cell.left_out.empty()) cell.left_out = evil;
    if (!cell.open.empty()) cell.open = evil;
    for (auto& a : cell.attempts) a.run = a.set_aside = evil;
  }
  for (auto& run : s.runs) run = {evil, evil, evil, evil};
  s.waivers = {{evil, {evil, evil, evil, evil}, evil}};
  s.refused = s.cautions = {evil};
  const auto tags = judges::html(write_html(r));
  CAPTURE(tags.said);
  CHECK(tags.good);
  CHECK_FALSE(has(tags.said, "evil"));
}
