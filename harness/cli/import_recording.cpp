#include "harness/cli/import_recording.hpp"

#include <filesystem>

#include "harness/base/text_file.hpp"
#include "harness/cli/host_facts.hpp"
#include "harness/cli/source_file.hpp"
#include "harness/cli/version.hpp"
#include "harness/recording/importing.hpp"

namespace trackrod {
namespace {

struct Description {
  std::string text;
  std::unique_ptr<ImportDescription> value;
};

// Its problems are told on the console; the error says no more than that there were some.
Result<Description> load_description(const std::string& path, const Console& console) {
  auto text = read_text(path);
  if (!text) return tl::unexpected<Error>{text.error()};
  Problems problems;
  auto value = parse_description(*text, path, problems);
  if (value) return Description{std::move(*text), std::move(value)};
  console.complain(problems);
  return fail(Fault::bad_input, "the description '" + path + "' was not taken; nothing was imported");
}

StreamHeader header_of(const RunRecord& record, const ImportDescription& description, const Survey& found) {
  StreamHeader h;
  h.run_id = record.id;
  h.config_hash = record.imported->description.front().sha256;
  h.clock = {BenchTime{}, found.counts.wall_of_zero.value_or(0)};
  h.signals = recorded_signals(description, found);
  for (const auto& info : h.signals)
    if (std::find(h.devices.begin(), h.devices.end(), info.device) == h.devices.end()) h.devices.push_back(info.device);
  return h;
}

std::string wall_text(BenchTime when, const Survey& found) {
  if (!found.counts.wall_of_zero) return "";
  const auto since_1970 = when.time_since_epoch() + Duration{*found.counts.wall_of_zero};
  return shown_wall_time(WallTime{std::chrono::duration_cast<WallTime::duration>(since_1970)});
}

RunRecord record_of(const ImportChoice& choice, const Survey& found, const SourceFile& file) {
  RunRecord r;
  r.program = program_version;
  r.started = wall_text(found.begin, found);
  r.ended = wall_text(found.end, found);
  r.ending = "imported";
  r.as_planned = r.safe_reached = true;
  r.duration_s = seconds(found.end - found.begin);
  r.host = program_and_machine();
  r.notes = found.notes();
  r.imported =
      ImportedFrom{choice.file, file.size(), file.sha256(), shown_wall_time(std::chrono::system_clock::now()), {}};
  return r;
}

// The second pass. The file must still be what the first one saw.
Result<void> write_journal(const ImportChoice& choice, const ImportDescription& description, const Survey& found,
                           const RunRecord& record, const RunFolder& folder) {
  auto journal = JournalWriter::create(folder.file("journal"), header_of(record, description, found));
  if (!journal) return tl::unexpected<Error>{journal.error()};
  auto file = SourceFile::open(choice.file);
  if (!file) return tl::unexpected<Error>{file.error()};
  if (auto written = write_recording(description, found, file->bytes(), *journal); !written) return written;
  if (file->sha256() != record.imported->sha256)
    return fail(Fault::bad_input,
                "the file changed while it was read; is it still being written? Import it when it is done");
  return {};
}

void tell(const ImportDescription& description, const Survey& found, const RunRecord& record, const RunFolder& folder,
          const Console& console) {
  std::uint64_t samples = 0;
  for (const auto n : found.samples) samples += n;
  console.say("read " + std::to_string(found.counts.rows) + " rows or frames, " + std::to_string(samples) +
              " samples of " + std::to_string(description.signals.size()) + " signals, over " +
              shown_time(record.duration_s));
  for (const auto& note : record.notes) console.say("note: " + note);
  console.say("run folder: " + folder.path());
}

}  // namespace

Result<RunFolder> import_recording(const ImportChoice& choice, Console& console) {
  auto description = load_description(choice.as, console);
  if (!description) return tl::unexpected<Error>{description.error()};
  auto file = SourceFile::open(choice.file);
  if (!file) return tl::unexpected<Error>{file.error()};
  const auto found = survey(*description->value, file->bytes());
  if (!found) return tl::unexpected<Error>{Error{found.error()}.within("'" + choice.file + "'")};
  auto record = record_of(choice, *found, *file);
  auto folder = RunFolder::create_for_import(choice.into, choice.runs, description->value->name,
                                             description->value->unit_serial, record);
  if (!folder) return folder;
  const auto fill = [&]() -> Result<void> {
    auto copies = folder->copy({{choice.as, description->text}}, "import.json");
    if (!copies) return tl::unexpected<Error>{copies.error()};
    record.imported->description = std::move(*copies);
    if (auto written = write_journal(choice, *description->value, *found, record, *folder); !written) return written;
    return folder->write("run.json", to_json(record));
  };
  if (auto filled = fill(); !filled) {
    std::error_code ignored;
    std::filesystem::remove_all(folder->path(), ignored);
    return tl::unexpected<Error>{Error{filled.error()}.within("'" + choice.file + "'")};
  }
  tell(*description->value, *found, record, *folder, console);
  return folder;
}

}  // namespace trackrod
