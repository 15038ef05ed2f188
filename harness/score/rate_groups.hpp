#pragma once
// Sweeps sorted by their rate, and the gap between the two directions at positions of the input.

#include <string>
#include <vector>

#include "harness/score/budget.hpp"
#include "harness/score/loop.hpp"
#include "harness/score/score.hpp"

namespace trackrod {

// What all sweeps at one rate say at one position of the input.
struct LoopGap {
  double position{0.0};      // input unit
  Repeated rising, falling;  // output, unit of the output
  double width{0.0};         // falling less rising, positive when the output lags
  double mean{0.0};          // of both branches
  double slope{0.0};         // output unit per input unit
  double rate{0.0};          // input unit/s
  double half_width{0.0};    // of resolution, of the width
  double u{0.0};             // standard uncertainty of the width from noise, scatter and resolution
  double range{0.0};         // largest less smallest reading in one direction, the larger of both
  bool known{false};
};

struct RateGroup {
  std::vector<Branch> branches;
  double rate{0.0};  // input unit/s
  LoopGap centre;
  std::vector<LoopGap> gaps;  // at the fixed positions
};

// All sweeps of a score's spans.
struct SweepSet {
  SweepSet() = default;
  SweepSet(SweepSet&&) = default;
  SweepSet& operator=(SweepSet&&) = default;

  std::vector<Sweep> sweeps;      // branches point into it: not to be changed
  std::vector<RateGroup> groups;  // slow first
  double low{0.0}, high{0.0};     // of the input
  double out_span{0.0};           // of the output
  std::size_t left_out{0};        // spans of no use
  std::string trouble;            // why
};
SweepSet sort_sweeps(const ScoreInput& input);

// The gap at a position over all branches of the group.
LoopGap read_gap(const RateGroup& group, double position, const ReadingRule& rule);

// A direction that was read once says nothing of its repeatability: to the centres of such groups goes that of all that
// were read more often.
void lend_repeatability(std::vector<RateGroup>& groups);

}  // namespace trackrod
