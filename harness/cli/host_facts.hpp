#pragma once
// What a run's record says of the harness itself: which program, on which machine, and how fast that machine can be.

#include <string>
#include <utility>
#include <vector>

namespace trackrod {

using HostFacts = std::vector<std::pair<std::string, std::string>>;  // what, in words

// The program's own file by its hash, so that two builds of one version can be told apart; the kernel and the cores.
HostFacts program_and_machine();
// The floor under every time that this machine can measure: lateness of a tick, and the time that a message takes
// through its own loopback and a pseudo-terminal. Blocks for about half a second.
HostFacts timing_floor();

}  // namespace trackrod
