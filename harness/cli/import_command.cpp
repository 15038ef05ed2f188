// `trackrod import`: a recording made elsewhere, as a run folder. Moves nothing.

#include <nlohmann/json.hpp>

#include "harness/cli/finish.hpp"
#include "harness/cli/import_recording.hpp"
#include "harness/cli/run_ledger.hpp"
#include "harness/recording/spans_file.hpp"

namespace trackrod {

int import_command(const ImportOptions& options, Console& console) {
  auto folder = import_recording(options.recording, console);
  if (!folder) return console.complain(folder.error()), status_of(folder.error());
  auto run = open_run(folder->path());
  if (!run) return console.complain(run.error()), status_of(run.error());
  if (auto archived = archive_apart(*folder); !archived) console.complain(archived.error());
  auto spans = spans_by(options.spans, *run, console);
  if (!spans) return console.complain(spans.error()), status_of(spans.error());
  if (*spans && !(*spans)->empty())
    if (auto written = folder->write("spans.json", spans_json(**spans)); !written)
      return console.complain(written.error()), status_of(written.error());
  enter_run(*folder, options.recording.into.empty() ? WithoutLedger::make_one : WithoutLedger::let_be, console);
  console.give(nlohmann::json{{"run", folder->path()}}.dump() + "\n");
  return all_pass;
}

}  // namespace trackrod
