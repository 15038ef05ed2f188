#include "harness/report/table.hpp"

#include <cstdlib>
#include <sstream>

#include "harness/report/text.hpp"
#include "tests/catch.hpp"
#include "tests/report/example.hpp"

using namespace trackrod;

namespace {

Finding verdict_only(Verdict verdict) {
  Finding f;
  f.judged = true;
  f.verdict = verdict;
  return f;
}

std::vector<std::string> lines_of(const std::string& text) {
  std::istringstream in{text};
  std::vector<std::string> lines;
  for (std::string line; std::getline(in, line);) lines.push_back(line);
  return lines;
}

}  // namespace

TEST_CASE("the exit status follows the worst verdict") {
  const auto pass = verdict_only(Verdict::pass), fail = verdict_only(Verdict::fail),
             inconclusive = verdict_only(Verdict::inconclusive), not_run = verdict_only(Verdict::not_run);
  Finding unjudged;
  struct Case {
    std::vector<Finding> findings;
    std::optional<Verdict> worst;
    int status;
  };
  const std::vector<Case> cases{{{}, std::nullopt, 0},
                                {{unjudged}, std::nullopt, 0},
                                {{pass}, Verdict::pass, 0},
                                {{pass, unjudged}, Verdict::pass, 0},
                                {{fail}, Verdict::fail, 1},
                                {{pass, fail, pass}, Verdict::fail, 1},
                                {{inconclusive}, Verdict::inconclusive, 4},
                                {{not_run}, Verdict::not_run, 4},
                                {{pass, not_run}, Verdict::not_run, 4},
                                {{not_run, inconclusive}, Verdict::inconclusive, 4},
                                {{inconclusive, fail}, Verdict::fail, 1},
                                {{not_run, inconclusive, pass, fail, unjudged}, Verdict::fail, 1}};
  for (std::size_t i = 0; i < cases.size(); ++i) {
    CAPTURE(i);
    CHECK(overall(cases[i].findings) == cases[i].worst);
    CHECK(exit_status(cases[i].findings) == cases[i].status);
  }
}

TEST_CASE("the table keeps within 60, 80 and 120 columns and loses nothing") {
  auto findings = example::findings();
  findings[1].name = "a_finding_whose_name_is_longer_than_any_terminal_would_like_to_show_on_one_of_its_lines";
  findings[2].reason = "± ≤ ≥ ± ≤ ≥ ± ≤ ≥ ± ≤ ≥ ± ≤ ≥ ± ≤ ≥ ± ≤ ≥ ± ≤ ≥ ± ≤ ≥ straddles repeats";  // grow as ASCII
  for (const int width : {40, 60, 80, 120, 200})
    for (const bool unicode : {true, false}) {
      CAPTURE(width, unicode);
      const auto text = findings_table(findings, {width, false, unicode});
      for (const auto& line : lines_of(text)) {
        CAPTURE(line);
        CHECK(columns(line) <= static_cast<std::size_t>(width));
      }
      for (const auto* word : {"PASS", "FAIL", "INCONCLUSIVE", "NOT RUN", "delay.dead_time", "SW-STEER-012",
                               "triangle-20", "43.7", "no value", "straddles", "repeats", "without"})
        CHECK(text.find(word) != std::string::npos);
      if (!unicode)
        for (const char c : text) CHECK(static_cast<unsigned char>(c) < 0x80);
    }
}

TEST_CASE("a wide terminal shows one line a finding, with the verdict first") {
  const auto lines = lines_of(findings_table(example::findings(), {120, false, true}));
  REQUIRE(lines.size() == 12);  // head, six findings, three reasons, an empty line, the summary
  CHECK(lines[0].rfind("VERDICT", 0) == 0);
  CHECK(lines[1] ==
        "PASS          delay.dead_time             43.7 ± 1.2 ms         ≤ 50 ms         SW-STEER-012  triangle-20");
  CHECK(lines.back() == "FAIL: 1 pass, 1 fail, 1 inconclusive, 1 not run, 2 without a limit");
}

TEST_CASE("colour is added to the words and takes nothing from them") {
  const auto plain = findings_table(example::findings(), {80, false, true});
  auto coloured = findings_table(example::findings(), {80, true, true});
  CHECK(plain.find('\033') == std::string::npos);
  CHECK(coloured.find("\033[1;31mFAIL\033[0m") != std::string::npos);
  for (std::size_t at; (at = coloured.find('\033')) != std::string::npos;)
    coloured.erase(at, coloured.find('m', at) - at + 1);
  CHECK(coloured == plain);
}

TEST_CASE("NO_COLOR and a terminal that cannot do it turn colour off") {
  const char* before = std::getenv("TERM");
  const std::string terminal = before ? before : "";
  ::setenv("TERM", "xterm", 1);
  ::unsetenv("NO_COLOR");
  CHECK(colour_wanted(true));
  CHECK_FALSE(colour_wanted(false));
  ::setenv("NO_COLOR", "", 1);  // no-color.org: present *and not empty*
  CHECK(colour_wanted(true));
  ::setenv("NO_COLOR", "1", 1);
  CHECK_FALSE(colour_wanted(true));
  ::unsetenv("NO_COLOR");
  ::setenv("TERM", "dumb", 1);
  CHECK_FALSE(colour_wanted(true));
  ::setenv("TERM", terminal.c_str(), 1);
}

TEST_CASE("a reason from a device cannot send control codes to the terminal") {
  auto f = example::findings()[1];
  f.reason = "device said \033[2J\a gone";
  const auto text = findings_table({f}, {80, false, true});
  CHECK(text.find('\033') == std::string::npos);
  CHECK(text.find('\a') == std::string::npos);
}

TEST_CASE("a run without findings says that nothing was judged") {
  CHECK(findings_table({}) == "NOTHING JUDGED: 0 pass, 0 fail, 0 inconclusive, 0 not run\n");
}
