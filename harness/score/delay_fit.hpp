#pragma once
// The fitted model behind the score `delay`: from the spans of a step to findings.

#include <string>
#include <vector>

#include "harness/score/delay_data.hpp"
#include "harness/score/findings.hpp"
#include "harness/score/lag_fit.hpp"

namespace trackrod {

// One step, and what all its findings have in common. Refers to things that must outlive it.
struct DelayStep {
  const SignalInfo& input;
  const SignalInfo& output;
  TimingQuality timing;
  double longest{0.2};  // s
  Frame frame;
  std::vector<DelaySpan> spans;  // usable ones
  double interval{0.0};          // s, the coarser signal's

  // Unit of a finding of the score `delay`.
  std::string unit(const std::string& name) const;
  // What shifts the two signals' times against each other, ms.
  std::vector<Contribution> time_shift() const;
};

// All findings but the correlation lag, and the figures. `lost_motion`: play and friction are part of the model.
ScoreResult fit_delay(const DelayStep& step, LagOrder order, bool lost_motion);

}  // namespace trackrod
