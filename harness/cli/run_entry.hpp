#pragma once
// From a run folder to its entry in the ledger.

#include "harness/cli/run_folder.hpp"
#include "harness/ledger/entry.hpp"

namespace trackrod {

// However the run ended, and also while it goes on. Reads no samples. Error kinds: bad_input when run.json or findings
// do not read, storage. The entry's place is left to the caller.
Result<RunEntry> run_entry(const RunFolder& folder);

}  // namespace trackrod
