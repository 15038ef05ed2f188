#pragma once
// What of a supply's drop-outs is just survived: how long a one, and how deep a one.

#include <vector>

#include "harness/score/drop_outs.hpp"
#include "harness/score/findings.hpp"

namespace trackrod {

// "ridden_through", in ms, of one drop-out or more. When all were survived, the longest.
Finding ridden_through(const std::vector<DropOut>& drops, const Frame& frame);

// "lowest_survived", in the unit of the voltage `volts`, of one drop-out or more that are alike in length. When all
// were survived, the lowest.
Finding lowest_survived(const std::vector<DropOut>& drops, const SignalInfo& volts, const Frame& frame);

}  // namespace trackrod
