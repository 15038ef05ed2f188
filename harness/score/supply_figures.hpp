#pragma once

#include <vector>

#include "harness/score/drop_outs.hpp"
#include "harness/score/score.hpp"

namespace trackrod {

// How long and how deep each drop-out was, by what the unit did, with the limits among the findings as marks.
Figure drop_outs_by_outcome(const std::vector<DropOut>& drops, const SignalInfo& volts,
                            const std::vector<Finding>& findings);

// Voltage over the first drop-out in which the unit was lost, or the first of all; needs one. `spans`: of each.
Figure drop_out_time_line(const ScoreInput& input, const std::vector<DropOut>& drops, const std::vector<Span>& spans,
                          const std::vector<Finding>& findings);

}  // namespace trackrod
