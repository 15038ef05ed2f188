#pragma once
// How far findings are from their limits, and how likely a pass is wrong. Pure.

#include <optional>
#include <string>
#include <vector>

#include "harness/score/score.hpp"

namespace trackrod {

// What is left up to the limit; below zero beyond it. Of two limits, up to the nearer one.
struct LimitMargin {
  std::string finding;
  double amount{0.0};
  std::string unit;
  std::optional<double> percent;  // of the limit; a limit of zero has none
};
// Empty without a value or a limit, and for a count, which keeps its limit or does not.
std::optional<LimitMargin> margin_of(const Finding& finding);

enum class MarginsOf { all, times };
// The least in per cent of its limit; of those without per cent only where there is no other.
std::optional<LimitMargin> worst_margin(const std::vector<Finding>& findings, MarginsOf which);
// "68.7 ms (46 %)".
std::string margin_text(const LimitMargin& margin);

// Probability that a finding that passes breaks its limit all the same: 1 less the probability of conformity (JCGM
// 106:2012, clause 7; normal about the value, nothing known beforehand). Zero where it does not pass; empty where it
// has no standard uncertainty.
std::optional<double> false_accept(const Finding& finding);

}  // namespace trackrod
