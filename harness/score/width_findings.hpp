#pragma once
// What the sweeps of one rate say: the loop's apparent width, its greatest, repeatability, linearity. Definitions in
// docs/scores/hysteresis.md.

#include <vector>

#include "harness/score/findings.hpp"
#include "harness/score/rate_groups.hpp"

namespace trackrod {

// What all findings of one score over sweeps have in common. Refers to things that must outlive it.
struct LoopContext {
  const SignalInfo& input;
  const SignalInfo& output;
  const SweepSet& set;
  Frame frame;

  // Unit of a finding of the score `hysteresis`.
  std::string unit(const std::string& name) const;
  // What shifts the two signals' times against each other, ms.
  std::vector<Contribution> time_shift() const;
};

std::vector<Finding> width_findings(const LoopContext& context, const RateGroup& group);

// The same budget for a quantity that is `by` times as large.
std::vector<Contribution> scaled(std::vector<Contribution> budget, double by);

}  // namespace trackrod
