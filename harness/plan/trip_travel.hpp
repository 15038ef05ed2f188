#pragma once
// How far a position axis still goes when an interlock breaks while it moves: nothing brakes during the interlock's
// grace time, and the safe state may take its whole declared time after it.

#include <optional>
#include <string>

#include "harness/bench/bench.hpp"
#include "harness/plan/motion.hpp"

namespace trackrod {

struct TripTravel {
  std::string axis;
  std::string interlock;  // the one with the longest grace time of those on the axis' own device
  double rate{0};         // greatest rate of the setpoint
  double in_grace{0};     // way during the grace time
  double until_safe{0};   // way during the grace time and all of the safe state's time; an upper bound
  double room{0};         // from the furthest place that is asked for to the end of the axis' range
};

// Empty when `setpoint` is not the setpoint of an axis in position mode, when no interlock watches
// its device, or when it has no range.
std::optional<TripTravel> trip_travel(const Bench& bench, SignalIndex setpoint, const Extent& asked);

}  // namespace trackrod
