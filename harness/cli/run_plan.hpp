#pragma once
// The keeper's work, for every command that moves the bench.

#include <string>

#include "harness/cli/load.hpp"

namespace trackrod {

// Nothing moves before a person at the bench has read the cautions and said so: the name given, or asked for at the
// terminal. Error kind bad_input.
Result<std::string> confirmation(const std::string& confirmed_by, const Console& console);

// Opens the links, runs the plan, brings the bench to its safe state, and scores. Gives the program's exit status.
// Blocks for as long as the plan takes; takes the process's stop signals meanwhile.
int run_plan(const Loaded& loaded, const std::string& runs, const std::string& confirmed_by, Console& console);

}  // namespace trackrod
