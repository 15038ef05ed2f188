#pragma once
// The course of a driven value in one step as a list that its device can run by itself. Pure.

#include <vector>

#include "harness/base/value_list.hpp"
#include "harness/plan/motion.hpp"

namespace trackrod {

// Values in the signal's unit, rounded to `resolution`, each that of the middle of its time; so an edge stands within
// half a dwell of where it is. Together the points last as long as the step, but for less than a dwell. Empty: the
// value does not change, or the list would need more points than the device takes.
std::vector<ListPoint> list_points(const Motion& motion, Duration length, const ListAbility& ability,
                                   double resolution);

}  // namespace trackrod
