#pragma once
// From a finding with its uncertainty and a limit to a verdict (after JCGM 106:2012 and ISO 14253-1: guard band of the
// whole expanded uncertainty).

#include <string>
#include <vector>

#include "harness/score/score.hpp"

namespace trackrod {

enum class Rule { guarded, simple };
std::string rule_name(Rule rule);

// Sets limit, rule, requirement and verdict. Boundaries belong to the allowed side: a value (or an interval's end) at
// the limit conforms.
//   guarded: pass when the whole interval conforms, fail when no point of it does, else inconclusive. For a one-sided
//   limit
//            only the end towards the limit matters: at 95 % coverage a pass is wrong in at most 2.5 % of cases.
//   simple:  the value alone is held against the limit; the interval is not used.
// A finding without a value keeps the verdict it came with; one without an interval is inconclusive under `guarded`.
void judge(Finding& finding, const Limit& limit, Rule rule, const std::string& requirement);

// Takes the verdict from every finding that has one: the run says nothing of the unit, and `why` tells the reasons. No
// reason changes nothing.
void invalidate(std::vector<Finding>& findings, const std::vector<std::string>& why);

// Probability that the true value conforms, for a normal distribution about the value (JCGM 106, clause 7).
double probability_of_conformity(double value, double standard_uncertainty, const Limit& limit);

}  // namespace trackrod
