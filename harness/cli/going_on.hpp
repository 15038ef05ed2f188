#pragma once
// A run that goes on where another one was cut short.

#include <string>

#include "harness/cli/load.hpp"

namespace trackrod {

struct GoingOn {
  std::string run;   // the other one's id
  std::string step;  // the first one of the new run
};

// From the run in the folder `after`; `from` names the step, or is empty for the first one of the plan's program that
// was not completed there. Reads the other run's journal. Error kinds bad_input: no such run, of another plan, bench or
// choice of variables, complete already; storage.
Result<GoingOn> go_on_from(const std::string& after, const std::string& from, const Loaded& loaded);

}  // namespace trackrod
