#pragma once
// The width at vanishing rate: what pure lag explains is taken out by a line through the widths at three rates or more.

#include <optional>
#include <vector>

#include "harness/score/line_fit.hpp"
#include "harness/score/width_findings.hpp"

namespace trackrod {

// The groups whose gap at the centre is known, slow first.
std::vector<const RateGroup*> known_groups(const SweepSet& set);

// Width over twice the rate, both in the unit of the output or along the input; weighted. Intercept: the gap; slope:
// the lag, s.
LineFit line_over_rate(const SweepSet& set, const std::vector<const RateGroup*>& groups, bool along_input);

struct RateCorrection {
  std::vector<Finding> findings;  // width_corrected, _input, _percent, lag; without a value when refused
  std::optional<LineFit> line;    // in the unit of the output
};
RateCorrection correct_for_rate(const LoopContext& context, const TimingQuality& timing);

}  // namespace trackrod
