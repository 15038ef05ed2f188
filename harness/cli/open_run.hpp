#pragma once
// A finished run, opened to be looked at again.

#include <memory>
#include <optional>
#include <string>
#include <vector>

#include "harness/capture/journal_capture.hpp"
#include "harness/cli/cycles_file.hpp"
#include "harness/cli/run_folder.hpp"
#include "harness/recording/description.hpp"

namespace trackrod {

// A run folder and what it holds. Of an imported recording the bench is no more than its signals, and the plan no more
// than its criteria, or null where it was never scored.
struct OpenedRun {
  RunFolder folder;
  RunRecord record;  // with a note on each thing that is missing
  Loaded loaded;     // bench and plan as they were
  std::unique_ptr<JournalCapture> capture;
  CycleBook cycles{};                              // what was worked out while it went on
  std::optional<std::vector<Span>> named_spans{};  // of an imported recording: what stands for steps

  // ns since 1970 of the capture's time zero, where an imported recording tells.
  std::optional<std::int64_t> wall_of_zero() const;
};

// Bench and plan of a run as they were, from its folder. Error kind bad_input when they do not read any more.
Result<Loaded> loaded_of(const RunFolder& folder, const RunRecord& record);

// The signals of an imported recording as a bench, for what looks names up there.
std::unique_ptr<Bench> recorded_bench(const StreamHeader& header, const ImportDescription& description);

// What to say of a recording that no plan was applied to.
Error no_plan(const OpenedRun& run);

// However the run ended. Reads the whole journal once. Error kinds: bad_input when it is no run folder or its files do
// not read any more, storage when the journal cannot be read.
Result<OpenedRun> open_run(const std::string& path);

}  // namespace trackrod
