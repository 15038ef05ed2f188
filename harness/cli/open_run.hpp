#pragma once
// A finished run, opened to be looked at again.

#include <memory>
#include <string>

#include "harness/capture/journal_capture.hpp"
#include "harness/cli/run_folder.hpp"

namespace trackrod {

// A run folder and what it holds.
struct OpenedRun {
  RunFolder folder;
  RunRecord record;  // with a note on each thing that is missing
  Loaded loaded;     // bench and plan as they were
  std::unique_ptr<JournalCapture> capture;
};

// However the run ended. Reads the whole journal once. Error kinds: bad_input when it is no run folder or its files do
// not read any more, storage when the journal cannot be read.
Result<OpenedRun> open_run(const std::string& path);

}  // namespace trackrod
