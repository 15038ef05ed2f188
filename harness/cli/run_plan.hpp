#pragma once
// The keeper's work, for every command that moves the bench.

#include <string>

#include "harness/cli/clearance.hpp"
#include "harness/cli/resume.hpp"

namespace trackrod {

// The run that this one goes on from.
struct RunBefore {
  std::string run{};                   // its id; empty: none
  const Resumption* resumed{nullptr};  // of a long run that goes on in the middle of its repeat
};

// Opens the links, runs the plan, brings the bench to its safe state, and scores. Gives the program's exit status.
// Blocks for as long as the plan takes; takes the process's stop signals meanwhile.
// `notify`: the notification command, as notify_program gave it;
// empty: none.
int run_plan(const Loaded& loaded, const std::string& runs, const RunBefore& before, const std::string& notify,
             const Clearance& clearance, Console& console);

}  // namespace trackrod
