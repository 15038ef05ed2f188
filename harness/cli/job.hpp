#pragma once
// What the keeper tells the loop's process to do: the texts of bench and plan, as they were checked.

#include "harness/cli/load.hpp"

namespace trackrod {

// A descriptor of a memory file that holds the job. May block.
Result<int> write_job(const Loaded& loaded);
// Reads and parses it; what the keeper has checked must parse again.
Result<Loaded> read_job(int descriptor);

}  // namespace trackrod
