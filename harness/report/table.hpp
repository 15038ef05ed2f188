#pragma once
// The findings on a terminal, and what they come to. Pure.

#include <cstddef>
#include <optional>
#include <string>
#include <vector>

#include "harness/score/score.hpp"

namespace trackrod {

// How many findings came out how. Those without a limit have no verdict and count as `unjudged` only.
struct Tally {
  std::size_t pass{0}, fail{0}, inconclusive{0}, not_run{0}, invalid{0}, unjudged{0};
};
Tally tally(const std::vector<Finding>& findings);
// "3 pass, 1 fail, 0 inconclusive, 0 not run", and ", 2 invalid", ", 4 without a limit" where there are such.
std::string tally_text(const Tally& counts);

// The worst verdict: invalid, fail, then inconclusive, then not run, then pass. Empty when no finding is judged.
std::optional<Verdict> overall(const std::vector<Finding>& findings);
std::optional<Verdict> overall(const Tally& counts);
// 1 a fail; 4 inconclusive, not run or invalid; else 0, also when nothing is judged. The caller puts 2, 5 and 3 before
// it.
int exit_status(const std::vector<Finding>& findings);

struct TableOptions {
  int width{80};       // columns; at least 40
  bool colour{false};  // colour the verdict's word; see colour_wanted
  bool unicode{true};  // false: ASCII only
};
// True on a terminal unless the environment sets NO_COLOR (to anything but nothing) or TERM=dumb.
bool colour_wanted(bool is_terminal);

// One line a finding where they fit, else a small block each; reasons wrapped below. The last line is the summary.
std::string findings_table(const std::vector<Finding>& findings, TableOptions options = {});

}  // namespace trackrod
