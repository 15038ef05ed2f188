#pragma once
// What follows a recording, live or rehearsed: archive, events in words, findings, report, and the table on the
// terminal.

#include "harness/capture/stream_header.hpp"
#include "harness/cli/evaluate.hpp"
#include "harness/cli/load.hpp"
#include "harness/cli/matrix.hpp"
#include "harness/cli/run_folder.hpp"
#include "harness/engine/engine.hpp"

namespace trackrod {

// What the journal says first.
StreamHeader stream_header(const Loaded& loaded, const RunRecord& record, ClockPair clock);
ClockPair clock_pair(const TimeSource& time);
// Fills the fields of run.json that tell how it ended.
void note_ending(RunRecord& record, const Outcome& outcome, Duration taken);
// The same by what its devices said of themselves, by Occasion: who they are, their fault memories, and whether the run
// was refused or is invalid.
void note_inspection(RunRecord& record, const Loaded& loaded, const Outcome& outcome,
                     std::span<const AccountRoom> rooms);

struct Finished {
  int status{harness_failed};  // joins the verdicts and how the run ended
  std::string verdicts;        // "3 pass, 1 fail, ..."; empty when nothing could be scored
};
// Makes the archive in a process of its own (low priority), then scores, reports, tells, and enters the run in the
// ledger.
Finished finish_run(const RunFolder& folder, const RunRecord& record, const Loaded& loaded, Console& console);

// The report of an evaluation, as HTML. `sign_off` is of what the evaluation has in cells.
std::string report_of(const RunRecord& record, const Loaded& loaded, const CaptureView& capture,
                      const Evaluation& evaluation, const SignOff& sign_off);
// The table, the verdict and where the report is, for people; findings.json's text for programs. With a matrix the
// table has what does not pass.
void tell(const std::vector<Finding>& findings, const SignOff& sign_off, const std::string& report,
          const Console& console);
// The archive of a folder's journal, by a process of its own. Error kinds internal, storage.
Result<void> archive_apart(const RunFolder& folder);
// Of the precedence 5, 2, 3, 1, 4, 0: a run that was refused is bad input.
int joined_status(const RunRecord& record, const std::vector<Finding>& findings);

}  // namespace trackrod
