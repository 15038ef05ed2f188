#pragma once
// From a file recorded elsewhere to a run folder, and the spans that stand for steps in it.

#include <optional>
#include <string>
#include <vector>

#include "harness/cli/commands.hpp"
#include "harness/cli/open_run.hpp"

namespace trackrod {

// Reads all of the file, then makes the folder: run.json, the description, the journal. Nothing is left behind by a
// file that is refused. Tells what a reader must know. Error kinds bad_input, with file and line; storage.
Result<RunFolder> import_recording(const ImportChoice& choice, Console& console);

// The spans that the options name or let find, with a table of what was found; empty: the options say nothing of spans.
Result<std::optional<std::vector<Span>>> spans_by(const SpanOptions& options, const OpenedRun& run, Console& console);

}  // namespace trackrod
