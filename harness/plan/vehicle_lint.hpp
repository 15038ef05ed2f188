#pragma once
// What a plan lets the vehicle do that no vehicle does. A unit that watches its bus falls back then, and a test of its
// normal working tests the fallback. Pure.

#include <string>
#include <vector>

#include "harness/plan/timeline.hpp"

namespace trackrod {

// Sentences with signal, step and time from the first step on (waits with their longest time); none when the bench
// names no vehicle. Told once for each step, signal and kind: a jump, a gain or loss of speed or a speed beyond the
// bench's `vehicle`, a wheel that disagrees, a rate of yaw that no tyre holds, a vehicle that moves and is switched
// off. Silent about steps with "implausible": "meant". Before them, whatever the steps: signals of the vehicle in
// messages that do not count.
std::vector<std::string> vehicle_notes(const Timeline& timeline, const Bench& bench);

}  // namespace trackrod
