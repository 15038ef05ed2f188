#include "harness/cli/open_run.hpp"

namespace trackrod {

Result<OpenedRun> open_run(const std::string& path) {
  auto folder = RunFolder::open(path);
  if (!folder) return tl::unexpected<Error>{folder.error()};
  auto record = folder->record();
  if (!record) return tl::unexpected<Error>{record.error()};
  auto loaded = folder->sources(*record);
  if (!loaded) return tl::unexpected<Error>{loaded.error()};
  Problems problems;
  parse_sources(*loaded, problems);
  if (!loaded->timeline)
    return fail(Fault::bad_input,
                "the folder's bench or plan does not read any more: " + problems.sorted().front().sentence());
  auto capture = JournalCapture::open(folder->file("journal"));
  if (!capture) return tl::unexpected<Error>{capture.error()};
  if (record->ended.empty())
    record->notes.push_back("the run ended without a word: its keeper was killed or the power failed");
  for (const auto& loss : (*capture)->losses()) record->notes.push_back("the journal lacks a part: " + loss.sentence());
  return OpenedRun{std::move(*folder), std::move(*record), std::move(*loaded), std::move(*capture)};
}

}  // namespace trackrod
