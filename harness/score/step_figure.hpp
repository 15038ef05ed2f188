#pragma once
// The picture of one step from rest to rest, for all scores that read one.

#include <string>

#include "harness/score/step_cycle.hpp"

namespace trackrod {

// Both signals from their old level (0) to their new one (1), over the time in ms after the input's 50 % instant, up to
// `latest`.
Figure step_figure(const std::string& title, const StepCycle& cycle, const SignalInfo& input, const SignalInfo& output,
                   double latest);

}  // namespace trackrod
