#pragma once
// The keeper's work, for every command that moves the bench.

#include <string>

#include "harness/cli/clearance.hpp"

namespace trackrod {

// Opens the links, runs the plan, brings the bench to its safe state, and scores. Gives the program's exit status.
// Blocks for as long as the plan takes; takes the process's stop signals meanwhile.
// `after`: the run that it goes on from; empty: none. `notify`: the notification command, as notify_program gave it;
// empty: none.
int run_plan(const Loaded& loaded, const std::string& runs, const std::string& after, const std::string& notify,
             const Clearance& clearance, Console& console);

}  // namespace trackrod
