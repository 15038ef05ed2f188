#pragma once
// A long run that goes on with the pass after its last whole one, once whatever ended it is over.

#include <string>

#include "harness/cli/load.hpp"

namespace trackrod {

struct Resumption {
  std::string run;       // the id of the run before
  std::string folder;    // its folder
  Loaded loaded;         // bench and plan as they were there, and where to go on
  WallTime ended;        // its last record
  std::string sentence;  // what was made, and how long nothing ran
};

// Reads the other run's journal. Error kinds bad_input: no such run, none that stopped within a repeat at the top of
// its plan; a rehearsal; its files do not read any more. storage.
Result<Resumption> resume_from(const std::string& folder);

// Takes what was worked out of the passes that count over into the new run's folder, so that counts and trends go on.
// Error kind storage.
Result<void> take_cycles_over(const Resumption& before, const std::string& new_folder);

}  // namespace trackrod
