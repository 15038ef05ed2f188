#include "harness/cli/open_run.hpp"

#include <filesystem>

#include "harness/base/text_file.hpp"
#include "harness/recording/spans_file.hpp"

namespace trackrod {
namespace {

Error unreadable(const std::string& what, const Problems& problems) {
  return {Fault::bad_input,
          "the folder's " + what + " does not read any more: " + problems.sorted().front().sentence(),
          {}};
}

Result<void> open_imported(const RunFolder& folder, OpenedRun& run) {
  auto loaded = folder.sources(run.record);
  if (!loaded) return tl::unexpected<Error>{loaded.error()};
  run.loaded = std::move(*loaded);
  auto text = read_text(folder.file(run.record.imported->description.front().file));
  if (!text) return tl::unexpected<Error>{text.error()};
  Problems problems;
  const auto description = parse_description(*text, run.record.imported->description.front().path, problems);
  if (!description) return tl::unexpected<Error>{unreadable("description", problems)};
  run.loaded.bench = recorded_bench(run.capture->header(), *description);
  if (!run.loaded.plan_sources.empty()) {
    run.loaded.plan = parse_criteria(run.loaded.plan_sources, run.loaded.set, *run.loaded.bench, catalogue(), problems);
    if (!run.loaded.plan) return tl::unexpected<Error>{unreadable("plan", problems)};
  }
  if (std::filesystem::exists(folder.file("spans.json"))) {
    auto spans = read_text(folder.file("spans.json"));
    if (!spans) return tl::unexpected<Error>{spans.error()};
    run.named_spans = parse_spans(*spans, folder.file("spans.json"), run.wall_of_zero(), problems);
    if (!problems.none()) return tl::unexpected<Error>{unreadable("spans.json", problems)};
  }
  return {};
}

}  // namespace

Result<Loaded> loaded_of(const RunFolder& folder, const RunRecord& record) {
  auto loaded = folder.sources(record);
  if (!loaded) return loaded;
  Problems problems;
  parse_sources(*loaded, problems);
  if (!loaded->timeline) return tl::unexpected<Error>{unreadable("bench or plan", problems)};
  return loaded;
}

std::optional<std::int64_t> OpenedRun::wall_of_zero() const {
  const auto wall = capture->header().clock.wall_ns;
  return wall == 0 ? std::nullopt : std::optional{wall};
}

Error no_plan(const OpenedRun& run) {
  return {Fault::bad_input,
          "'" + run.folder.path() + "' holds a recording without criteria; name a plan that has some: --plan PLAN",
          {}};
}

std::unique_ptr<Bench> recorded_bench(const StreamHeader& header, const ImportDescription& description) {
  auto bench = std::make_unique<Bench>();
  bench->name = description.name;
  bench->description = description.description;
  bench->file = description.file;
  bench->unit.name = description.unit_name;
  bench->unit.serial = description.unit_serial;
  for (const auto& info : header.signals) bench->signals.emplace_back().info = info;
  return bench;
}

Result<OpenedRun> open_run(const std::string& path) {
  auto folder = RunFolder::open(path);
  if (!folder) return tl::unexpected<Error>{folder.error()};
  auto record = folder->record();
  if (!record) return tl::unexpected<Error>{record.error()};
  OpenedRun run{*folder, std::move(*record), {}, nullptr};
  // Of a run of its own the plan is looked at first: without it the journal need not be read.
  if (!run.record.imported) {
    auto loaded = loaded_of(*folder, run.record);
    if (!loaded) return tl::unexpected<Error>{loaded.error()};
    run.loaded = std::move(*loaded);
    auto cycles = read_cycle_book(folder->file("cycles.jsonl"), run.loaded.plan->criteria.size());
    if (!cycles) return tl::unexpected<Error>{cycles.error()};
    run.cycles = std::move(*cycles);
  }
  auto capture = JournalCapture::open(folder->file("journal"));
  if (!capture) return tl::unexpected<Error>{capture.error()};
  run.capture = std::move(*capture);
  if (run.record.imported)
    if (auto opened = open_imported(*folder, run); !opened) return tl::unexpected<Error>{opened.error()};
  if (run.record.ended.empty() && !run.record.imported)
    run.record.notes.push_back("the run ended without a word: its keeper was killed or the power failed");
  for (const auto& loss : run.capture->losses())
    run.record.notes.push_back("the journal lacks a part: " + loss.sentence());
  return run;
}

}  // namespace trackrod
