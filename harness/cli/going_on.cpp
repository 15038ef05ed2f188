#include "harness/cli/going_on.hpp"

#include <algorithm>
#include <set>

#include "harness/cli/open_run.hpp"

namespace trackrod {
namespace {

// What a run has behind it.
struct Done {
  std::multiset<std::string> steps;  // names of those that were completed, each as often as it was
  std::size_t ended_repeats{0};      // at the top of the plan: by time, or by a limit
};

bool complete(const std::vector<TimelineItem>& items, const std::vector<TimelineStep>& steps, Done& done);

// Takes what it needs out of `done`.
bool complete(const TimelineItem& item, const std::vector<TimelineStep>& steps, Done& done) {
  if (item.count == 0) {
    const auto at = done.steps.find(steps[item.step].name);
    if (at == done.steps.end()) return false;
    done.steps.erase(at);
    return true;
  }
  for (std::uint64_t n = 0; n < item.count; ++n)
    if (!complete(item.levels.empty() ? item.first : item.levels.front(), steps, done)) {
      if (done.ended_repeats == 0) return false;
      --done.ended_repeats;
      return true;
    }
  return true;
}

bool complete(const std::vector<TimelineItem>& items, const std::vector<TimelineStep>& steps, Done& done) {
  return std::ranges::all_of(items, [&](const TimelineItem& item) { return complete(item, steps, done); });
}

// The first step of the first element that was not completed; of a road its way in. Empty: all was.
std::string first_left(const Timeline& timeline, Done done) {
  std::string road;
  for (const auto& item : timeline.program()) {
    const auto& first = first_step(item, timeline.steps());
    if (first.load == LoadUse::none) road.clear();
    if (first.load != LoadUse::none && road.empty()) road = first.name;
    if (!complete(item, timeline.steps(), done)) return road.empty() ? first.name : road;
  }
  return {};
}

bool same_texts(const Sources& a, const Sources& b) {
  return std::ranges::equal(a, b, [](const auto& x, const auto& y) { return x.second == y.second; });
}

}  // namespace

Result<GoingOn> go_on_from(const std::string& after, const std::string& from, const Loaded& loaded) {
  auto run = open_run(after);
  if (!run) return tl::unexpected<Error>{std::move(run.error()).within("--after")};
  const auto refused = [&](const std::string& why) {
    return fail(Fault::bad_input, "--after: '" + after + "' " + why + "; nothing was moved");
  };
  if (run->record.imported || run->record.rehearsal) return refused("is no run on a bench");
  if (!same_texts(run->loaded.plan_sources, loaded.plan_sources))
    return refused("ran another plan, or this one before it was changed");
  if (!same_texts(run->loaded.bench_sources, loaded.bench_sources))
    return refused("ran on another bench, or on this one before its file was changed");
  if (run->loaded.set != loaded.set) return refused("ran with other --set");
  GoingOn out{run->record.id, from};
  if (!from.empty()) return out;
  Done done;
  for (const auto& span : run->capture->spans())
    if (span.complete) done.steps.insert(span.step);
  done.ended_repeats =
      static_cast<std::size_t>(std::ranges::count(run->capture->events(), EventKind::repeat_ended, &Event::kind));
  out.step = first_left(*run->loaded.timeline, std::move(done));
  if (out.step.empty()) return refused("left no step of the plan");
  return out;
}

}  // namespace trackrod
