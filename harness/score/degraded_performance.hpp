#pragma once
// What the output did wrong before a fault was in hand, and what is left of its motion in the fault and after it.

#include <functional>
#include <string>
#include <vector>

#include "harness/score/fault_case.hpp"
#include "harness/score/findings.hpp"

namespace trackrod {

// Makes the finding of that name without a value, with the reason.
using MissingFinding = std::function<Finding(const std::string& name, const std::string& why)>;

// "departure", of all cases together; at least one.
Finding departure_of(const std::vector<FaultCase>& cases, const DegradedSettings& settings, const SignalInfo& output,
                     const Frame& frame, const MissingFinding& missing);

// "gain_left", "lag_added" and "gain_returned": each against the same fault's own motion before it, so that both
// calibrations cancel.
std::vector<Finding> performance_of(const std::vector<FaultCase>& cases, const Frame& frame,
                                    const MissingFinding& missing);

}  // namespace trackrod
