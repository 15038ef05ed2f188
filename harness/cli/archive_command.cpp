#include <unistd.h>

#include "harness/capture/archive.hpp"
#include "harness/capture/events.hpp"
#include "harness/capture/journal_capture.hpp"
#include "harness/cli/commands.hpp"
#include "harness/cli/run_folder.hpp"

namespace trackrod {

// Behind a bench that another process of this machine drives, and not so far that whoever waits for this one waits for
// ever on a busy machine.
namespace {
constexpr int behind_others = 5;
}

int archive_command(const ArchiveOptions& options, Console& console) {
  if (nice(behind_others) == -1) console.say("the archiver keeps its priority: the system refused a lower one");
  auto folder = RunFolder::open(options.run);
  if (!folder) return console.complain(folder.error()), status_of(folder.error());
  auto capture = JournalCapture::open(folder->file("journal"));
  if (!capture) return console.complain(capture.error()), status_of(capture.error());
  if (auto written = write_archive(**capture, folder->file("capture.h5")); !written)
    return console.complain(written.error()), harness_failed;
  if (auto written = write_events(**capture, (*capture)->header(), folder->file("events.jsonl")); !written)
    return console.complain(written.error()), harness_failed;
  return all_pass;
}

}  // namespace trackrod
