#pragma once

#include <string>
#include <vector>

#include "harness/score/fault_case.hpp"
#include "harness/score/score.hpp"

namespace trackrod {

// The time line of the fault whose reaction took longest (or never came): what the output did, and onset, detection,
// warning and the instant from which it was in hand, each with its interval. `y_label`: of the output or its departure.
Figure fault_time_line(const std::vector<FaultCase>& cases, const DegradedSettings& settings,
                       const std::string& y_label);

// Reaction, detection and warning of each fault, in their order.
Figure times_by_fault(const std::vector<FaultCase>& cases);

}  // namespace trackrod
