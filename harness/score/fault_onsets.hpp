#pragma once
// When a fault was there, read off a signal that senses it where it acts: not the command of a relay, which comes
// milliseconds earlier and bounces.

#include <optional>
#include <string>
#include <vector>

#include "harness/score/between.hpp"
#include "harness/score/score.hpp"

namespace trackrod {

struct FaultRule {
  double low{0.0}, high{0.0};  // of the sense signal: within, there is no fault
  Duration bounce{};           // good again for less: still the same fault
};

struct FaultStretch {
  Between begin;               // between the last good and the first bad sample
  std::optional<Between> end;  // between the last bad and the first good one; empty: was not cleared in the span
  std::size_t bounces{0};      // how often it was good again in between
};

struct FaultStretches {
  std::vector<FaultStretch> found;  // in order
  std::string trouble;              // what the signal did instead, or that one began before the span did
  double longest_gap{0.0};          // s between two samples
};

// Of the signal in that role. Times in s after the span's start, the sensor's delay taken off. Samples whose noise
// leaves open whether they are good or bad count as neither and make the instants wider.
FaultStretches faults_in(const ScoreInput& input, const std::string& role, const Span& span, const FaultRule& rule);

// As the harness made them, from the run's events: a fault that is sensed began between its making and the sample that
// showed it, one of messages within the tick in which the first of them was wrong, another one within the tick in which
// it was made: of a value in a message with a longer cycle that is too early.
// Those that the bench did not see, or whose trigger did not come, are not among them; `trouble` tells.
FaultStretches faults_made_in(const CaptureView& capture, const Span& span);

}  // namespace trackrod
