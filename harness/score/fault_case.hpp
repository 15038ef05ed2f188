#pragma once
// Everything that one fault did, read off a capture. docs/scores/degraded.md.

#include <optional>
#include <string>
#include <vector>

#include "harness/score/degraded_settings.hpp"
#include "harness/score/fault_effect.hpp"
#include "harness/score/fault_onsets.hpp"
#include "harness/score/fault_warning.hpp"
#include "harness/score/lagged_line.hpp"

namespace trackrod {

// Times in s after the start of the span that the fault was found in.
struct FaultCase {
  FaultStretch fault;
  double until{0.0};  // the next onset, or the end of the span
  LaggedLine before, during, after;
  FaultEffect effect;
  std::optional<FaultWarning> warning, detection;  // empty: no signal plays that role, or settings lack
  double output_noise{0.0};                        // of a sample of what `effect` holds
  double output_interval{0.0};

  double end() const { return fault.end ? fault.end->earliest() : until; }
};

struct FaultCases {
  std::vector<FaultCase> found;
  std::string trouble;                       // why there is none
  std::string early;                         // that one more was there before its step began; empty: none
  std::optional<std::size_t> shown_without;  // how often a warning came on where no fault was; empty: none is read
};

// Steps that follow each other at once are read as one: a fault may begin in one and be cleared in the next.
FaultCases read_fault_cases(const ScoreInput& input, const DegradedSettings& settings);

}  // namespace trackrod
