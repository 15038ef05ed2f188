#pragma once
// What the output does by itself while the speed changes and the input is held: the ratio moves under it.

#include <string>
#include <vector>

#include "harness/score/findings.hpp"

namespace trackrod {

struct SpeedChangeRule {
  double held{0.0};    // input unit: the input is held when it moves by no more
  double window{0.1};  // s, over which a rate is taken
};

// Of the steps in `frame`: "speed_motion", the change of the output from the first window of a step to its last, mean
// of all cycles; and "speed_rate", the greatest rate over any window of all cycles, with what noise adds to a greatest
// one taken off. Without a value when the speed (role `speed`) or its signal does not change, or the input is not held.
// The figure shows the output of the first cycle.
ScoreResult score_speed_change(const ScoreInput& input, const std::vector<Span>& spans, Frame frame,
                               const SpeedChangeRule& rule);

// Is the input held in these spans, so that they show a change of speed and no map?
bool input_is_held(const ScoreInput& input, const std::vector<Span>& spans, double held);

}  // namespace trackrod
