#include "harness/cli/resume.hpp"

#include <algorithm>

#include "harness/cli/cycles_file.hpp"
#include "harness/cli/open_run.hpp"

namespace trackrod {
namespace {

// The repeat at the top of the program in which the run stopped.
const TimelineItem* repeat_of(const std::string& step, const Timeline& timeline) {
  for (const auto& item : timeline.program()) {
    if (item.count == 0 || !item.levels.empty()) continue;
    if (steps_inside({item}, timeline.steps()).contains(step)) return &item;
  }
  return nullptr;
}

struct Passes {
  std::uint64_t whole{0};  // from the first run on
  BenchTime from{}, to{};  // of those of this run, one after the other, with the checks between them
};

// A pass is whole when what comes next was begun.
Passes whole_passes(const CaptureView& capture, const std::string& first_step, const MadeBefore& made) {
  Passes out{made.passes, {}, {}};
  bool begun = false;
  for (const auto& span : capture.spans()) {
    if (span.step != first_step) continue;
    if (!begun) out.from = out.to = span.from;
    begun = true;
    out.whole = std::max<std::uint64_t>(out.whole, span.cycle);
    out.to = span.from;
  }
  return out;
}

WallTime wall_of(BenchTime when, const StreamHeader& header) {
  const auto ns = header.clock.wall_ns + (when - header.clock.bench).count();
  return WallTime{std::chrono::duration_cast<WallTime::duration>(std::chrono::nanoseconds{ns})};
}

}  // namespace

Result<Resumption> resume_from(const std::string& folder) {
  auto run = open_run(folder);
  if (!run) return tl::unexpected<Error>{std::move(run.error()).within("--resume")};
  const auto refused = [&](const std::string& why) {
    return fail(Fault::bad_input, "--resume: '" + folder + "' " + why + "; nothing was moved");
  };
  if (run->record.imported || run->record.rehearsal) return refused("is no run on a bench");
  if (run->capture->spans().empty()) return refused("did not come to a step; run the plan anew");
  const auto& timeline = *run->loaded.timeline;
  const auto& last = run->capture->spans().back().step;
  const auto* repeat = repeat_of(last, timeline);
  if (repeat == nullptr || run->record.as_planned)
    return refused("stopped at step '" + last +
                   "', in no repeat that could go on; allowed: a run that stopped within one. To go on with the step "
                   "itself: trackrod run PLAN --bench BENCH --after " +
                   folder);
  const auto& ended = run->capture->events();
  if (std::ranges::find(ended, EventKind::repeat_ended, &Event::kind) != ended.end())
    return refused("had ended its repeat; go on with what follows: trackrod run PLAN --bench BENCH --after " + folder);

  Resumption out;
  out.run = run->record.id;
  out.folder = run->folder.path();
  const auto first = first_step(*repeat, timeline.steps()).name;
  const auto passes = whole_passes(*run->capture, first, run->record.made);
  out.loaded.bench_sources = run->loaded.bench_sources;
  out.loaded.plan_sources = run->loaded.plan_sources;
  out.loaded.set = run->loaded.set;
  out.loaded.from = first;
  out.loaded.made = {passes.whole, run->record.made.spent + (passes.to - passes.from)};
  out.ended = wall_of(run->capture->end(), run->capture->header());
  Problems problems;
  parse_sources(out.loaded, problems);
  if (!out.loaded.timeline) return refused("cannot go on: " + problems.sorted().front().sentence());
  const auto gap = std::chrono::duration_cast<Duration>(std::chrono::system_clock::now() - out.ended);
  out.sentence = "resumes run '" + out.run + "' after " + std::to_string(passes.whole) +
                 " whole passes; nothing ran for " + shown_time(seconds(gap)) + ", from " + shown_wall_time(out.ended) +
                 " on";
  return out;
}

Result<void> take_cycles_over(const Resumption& before, const std::string& new_folder) {
  const auto& plan = *before.loaded.plan;
  const auto* repeat = &before.loaded.timeline->program().front();
  const auto of_check = steps_inside(repeat->check, before.loaded.timeline->steps());
  const auto book = read_cycle_book(before.folder + "/cycles.jsonl", plan.criteria.size());
  if (!book) return tl::unexpected<Error>{book.error()};
  auto file = CyclesFile::open(new_folder + "/cycles.jsonl", plan.criteria.size());
  if (!file) return tl::unexpected<Error>{file.error()};
  const auto passes = before.loaded.made.passes;
  for (std::size_t i = 0; i < book->size(); ++i) {
    const bool checks = !plan.criteria[i].steps.empty() && of_check.contains(plan.criteria[i].steps.front());
    const auto counts = checks ? passes / repeat->check_every : passes;
    for (const auto& value : (*book)[i])
      if (value.cycle < counts) file->add(ValueRow{i, value});
  }
  return file->sync();
}

}  // namespace trackrod
