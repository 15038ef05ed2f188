#pragma once
// What a fault does to the output, and when the unit has it in hand: a physical effect, seen by a sensor of the bench.

#include <optional>
#include <string>
#include <vector>

#include "harness/score/fault_onsets.hpp"
#include "harness/score/lagged_line.hpp"

namespace trackrod {

// In hand means: the output is within the bounds for good, until the fault is cleared, and for `hold` at least.
struct EffectRule {
  double low{0.0}, high{0.0};  // of the output, or of its departure from what it should be
  bool departure{false};
  double hold{0.0};  // s
};

// The course of the output over one fault.
struct FaultEffect {
  std::vector<double> t, v;  // s, what the rule bounds: the output or its departure; from a while before the onset
  double margin{0.0};  // output unit: by so much a sample may be wrong, from noise and from what is expected of it
  std::optional<Between> in_hand;
  bool never{false};       // the output did not come within the bounds for good
  bool quiet{false};       // it was within them throughout: no reaction to be seen
  std::string trouble;     // why `in_hand` is not known; empty: it is, or never came
  double worst_hole{0.0};  // s, longest time without a sample from the onset until then
};

// `before`: how the output followed before the fault; not used without `departure`. `until`: the end of the fault, or
// of the recording.
FaultEffect effect_of(const Series& output, const Series& reference, const LaggedLine& before,
                      const FaultStretch& fault, double until, const EffectRule& rule);

// The greatest departure of all faults while not in hand, from a smoothed course of each, so that noise does not choose
// it: a parabola through as many samples as go round the peak like one, up to thirteen. What noise adds nevertheless is
// found by drawing it again, and taken off.
struct GreatestDeparture {
  double value{0.0};  // output unit, positive, bias taken off
  double bias{0.0};
  double noise{0.0};      // standard uncertainty from noise
  double smoothing{0.0};  // half-width: what half the window makes of it; of a corner, how far it may stand out
  bool corner{false};     // read from the samples: the greatest lies between two
  double when{0.0};       // s after that fault's onset
  std::size_t fault{0};   // index of the course
};
struct DepartureCourse {
  std::vector<double> t, v;  // s after the onset; while not in hand, with some samples on either side
};
// Empty: no course has samples enough.
std::optional<GreatestDeparture> greatest_departure(const std::vector<DepartureCourse>& courses, double noise);

}  // namespace trackrod
