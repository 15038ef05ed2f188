#pragma once
// Findings as people read them: the uncertainty says how many digits a value deserves (JCGM 100:2008, 7.2.6). Pure.

#include <string>

#include "harness/score/score.hpp"

namespace trackrod {

// An uncertainty as stated: two significant digits, to the nearest; upwards where the nearest would understate it by
// more than 1 %. `decimals` is the place of its last digit, for the value beside it; negative left of the point.
struct StatedUncertainty {
  double value{0.0};
  int decimals{0};
  std::string text;
};
// `uncertainty` > 0 and finite.
StatedUncertainty stated_uncertainty(double uncertainty);

// `value` to the place that `decimals` names: (1234.5, 1) -> "1234.5", (1234.5, -2) -> "1200".
std::string to_place(double value, int decimals);

// "41.23 ± 0.45 ms" when the interval lies evenly about the value, "41.2 -0.4 +1.1 ms" when it does not, "41.23 ms"
// when there is no interval, and "no value" when there is none. U is half the interval, at the finding's coverage.
std::string value_text(const Finding& finding);
// "40.78 to 41.68 ms": ends rounded outwards, so that what is printed never looks better than what was judged. Empty
// without an interval, or with one of no width.
std::string interval_text(const Finding& finding);
// "≤ 50 ms", "≥ 12 deg", "0.2 to 0.5 deg"; "no limit" without one.
std::string limit_text(const Finding& finding);

}  // namespace trackrod
