// Waivers: a file that is read strictly, and cells that say what was waived.

#include <fstream>
#include <sstream>

#include "tests/catch.hpp"
#include "tests/report/judges.hpp"
#include "tests/signoff/made_runs.hpp"

namespace trackrod::test {
namespace {

std::string waiver(const std::string& fault, const std::string& points, const std::string& expires = "2027-01-31") {
  return R"({"fault": ")" + fault + R"(", "points": )" + points +
         R"(, "reason": "the lamp is changed in the next sample", "by": "N. N.", "date": "2026-11-20", "expires": ")" +
         expires + "\"}";
}
std::string file_of(const std::string& waivers) { return R"({"waivers": [)" + waivers + "]}"; }

TEST_CASE("a waived cell says so, and shows the verdict that the waiver covers; it is no pass") {
  const auto m = made({made_run("one", but(0, Verdict::fail))}, file_of(waiver("wire_a_open", "\"slow\"")));
  CAPTURE(m.said());
  CHECK(m.problems.none());
  const auto& cell = m.matrix().cell(0, 0);
  CHECK(state_of(cell) == CellState::waived);
  CHECK(measured_state(cell) == CellState::fail);
  CHECK(cell_words(cell) == "waived: fail");
  const auto c = coverage_of(m.matrix());
  CHECK(c.waived == 1);
  CHECK(c.fail == 0);
  CHECK(c.pass == 5);
  CHECK(c.rows_passed == 1);
  CHECK(exit_status(whole_state({}, m.sign_off.matrices)) == 4);
  REQUIRE(m.sign_off.waivers.size() == 1);
  CHECK(m.sign_off.waivers[0].cells == "wire_a_open at slow");
  CHECK(m.sign_off.waivers[0].standing == "in force: slow: fail");
}

TEST_CASE("a fail beside a waived one is still a fail") {
  auto verdicts = but(0, Verdict::fail);
  verdicts[1] = Verdict::fail;
  const auto m = made({made_run("one", verdicts)}, file_of(waiver("wire_a_open", "\"slow\"")));
  CHECK(exit_status(whole_state({}, m.sign_off.matrices)) == 1);
}

TEST_CASE("a waiver of a cell that passes is not needed, and the cell passes") {
  const auto m = made({made_run("one", all_pass())}, file_of(waiver("wire_a_open", R"(["slow", "town"])")));
  CHECK(state_of(m.matrix().cell(0, 0)) == CellState::pass);
  CHECK(m.sign_off.waivers.at(0).standing == "in force: slow: not needed, it passes, town: not needed, it passes");
}

TEST_CASE("a waiver is in force from its date to its last day, and said to be none before and after") {
  const auto file = file_of(waiver("wire_a_open", "\"slow\""));
  const auto on = [&](const std::string& day) { return made({made_run("one", but(0, Verdict::fail))}, file, day); };
  for (const std::string day : {"2026-11-20", "2027-01-31"})
    CHECK(state_of(on(day).matrix().cell(0, 0)) == CellState::waived);
  const auto late = on("2027-02-01"), early = on("2026-11-19");
  CHECK(state_of(late.matrix().cell(0, 0)) == CellState::fail);
  CHECK(late.sign_off.waivers.at(0).standing == "expired on 2027-01-31");
  CHECK(late.sign_off.cautions ==
        std::vector<std::string>{"The waiver of wire_a_open at slow is expired on 2027-01-31."});
  CHECK(state_of(early.matrix().cell(0, 0)) == CellState::fail);
  CHECK(early.sign_off.waivers.at(0).standing == "not in force before 2026-11-20");
}

TEST_CASE("a waiver that matches no cell is refused at its place") {
  auto grid = small_grid();
  grid.cells[4].left_out = "not to be tried";  // fast, wire_a_open
  const auto said = [&](const std::string& waivers) {
    return made({made_run("one", all_pass())}, file_of(waivers), "2026-12-01", grid).said();
  };
  CHECK(said(waiver("wire_a_opne", "\"slow\"")) ==
        "sign-off.json:1:24: /waivers/0/fault: found \"wire_a_opne\"; allowed: a row of the matrix; did you mean "
        "'wire_a_open'?\n");
  CHECK(said(waiver("wire_a_open", "\"slwo\"")).find("allowed: a column of the matrix: 'slow', 'town' or 'fast'") !=
        std::string::npos);
  CHECK(said(waiver("wire_a_open", "\"fast\"")).find("wire_a_open at fast, which the plan leaves out") !=
        std::string::npos);
  CHECK(said(waiver("wire_a_open", "\"slow\"") + "," + waiver("wire_a_open", "[\"town\", \"slow\"]"))
            .find("a second waiver for wire_a_open at slow") != std::string::npos);
}

TEST_CASE(
    "the file is read strictly: every field that is missing, misspelt or of another kind is told with its place") {
  const auto said = [&](const std::string& text) {
    Problems problems;
    parse_sign_off_file(text, "s.json", problems);
    std::string all;
    for (const auto& p : problems.sorted()) all += p.sentence() + "\n";
    return all;
  };
  const auto good = file_of(waiver("wire_a_open", "\"slow\""));
  CHECK(said(good).empty());
  CHECK(said(R"({"waivers": [], "repeats": []})").empty());
  for (const std::string key : {"fault", "points", "reason", "by", "date", "expires"}) {
    CAPTURE(key);
    auto broken = good;
    broken.replace(broken.find("\"" + key + "\"") + 1, key.size(), "x_" + key);
    CHECK(said(broken).find("x_" + key) != std::string::npos);
    CHECK(said(broken).find("'" + key + "'") != std::string::npos);
  }
  CHECK(said(file_of(waiver("a", "\"b\"", "2026-13-01"))).find("/waivers/0/expires") != std::string::npos);
  CHECK(said(file_of(waiver("a", "\"b\"", "2026-11-19"))).find("which is before its date") != std::string::npos);
  CHECK(said(file_of(waiver("a", "[]"))).find("/waivers/0/points") != std::string::npos);
  CHECK(said(R"({"repeats": [{"run": "r", "reason": "bad luck", "by": "N. N.", "date": "2026-11-20"}]})")
            .find("'bench fault', 'wrong set-up', 'unit repaired' or 'planned'") != std::string::npos);
}

std::string slurp(const std::string& path) {
  std::ostringstream text;
  text << std::ifstream{TRACKROD_SOURCE_DIR "/" + path, std::ios::binary}.rdbuf();
  return text.str();
}

std::string example_of_the_docs() {
  const auto page = slurp("docs/sign-off.md");
  const std::string fence = "```json\n";
  const auto from = page.find(fence) + fence.size();
  return page.substr(from, page.find("```", from) - from);
}

TEST_CASE("the example of the docs is read") {
  Problems problems;
  const auto file = parse_sign_off_file(example_of_the_docs(), "docs", problems);
  CHECK(problems.none());
  CHECK(file.waivers.size() == 1);
  CHECK(file.repeats.size() == 1);
}

TEST_CASE("the shipped schema is the one that the field tables write, and a judge takes the example by it") {
  INFO("to write it anew: trackrod schema sign-off > docs/schema/sign-off.schema.json");
  CHECK(slurp("docs/schema/sign-off.schema.json") == sign_off_schema());
  const auto said = judges::python(R"py(
import json, jsonschema, sys
example = json.load(open(sys.argv[1]))
schema = json.load(open(')py" TRACKROD_SOURCE_DIR R"py(/docs/schema/sign-off.schema.json'))
jsonschema.Draft7Validator.check_schema(schema)
judge = jsonschema.Draft7Validator(schema)
assert judge.is_valid(example)
del example['waivers'][0]['by']
assert not judge.is_valid(example)
)py",
                                   example_of_the_docs());
  CAPTURE(said.said);
  CHECK(said.good);
}

}  // namespace
}  // namespace trackrod::test
