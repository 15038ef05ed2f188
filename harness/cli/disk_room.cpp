#include "harness/cli/disk_room.hpp"

#include <sys/statvfs.h>

#include <algorithm>
#include <filesystem>

namespace trackrod {
namespace {

// Measured on the demo bench: of one sample in the journal (docs/formats/journal.md), and in the archive.
constexpr double journal_bytes_per_sample = 4.0, archive_bytes_per_sample = 12.5;
constexpr double frame_bytes = 58.0;      // of an event in the journal
constexpr double events_a_step = 3.0;     // announced, began, ended
constexpr double row_bytes = 150.0;       // of a pass in cycles.jsonl, and of a value
constexpr double summary_bytes = 110.0;   // of a signal in it
constexpr double left_out_bytes = 112.0;  // of a frame that stands for what was left out
constexpr double to_end_in_order = 32e6;

double length_of(const std::vector<TimelineItem>& items, const Timeline& timeline, double& steps) {
  double total = 0.0;
  for (const auto& item : items) {
    if (item.count == 0) {
      total += seconds(timeline.steps()[item.step].length);
      steps += 1.0;
      continue;
    }
    double inner = 0.0;
    const double once = length_of(item.levels.empty() ? item.first : item.levels.back(), timeline, inner);
    const auto times = item.count == without_end ? 1.0 : static_cast<double>(item.count);
    total += times * once;
    steps += times * inner;
  }
  return total;
}

// Seconds whose samples are not kept, and bytes that are written in their place.
struct Thinned {
  double seconds{0.0}, bytes{0.0};
};

Thinned thinned(const TimelineItem& repeat, const Timeline& timeline, double passes, std::size_t signals) {
  double steps = 0.0;
  const double pass = length_of(repeat.again.empty() ? repeat.first : repeat.again, timeline, steps);
  const double every = seconds(repeat.keep->whole_every);
  const double whole = every > 0.0 ? std::max(1.0, passes * pass / std::max(every, pass)) : 1.0;
  const double left_out = std::max(0.0, passes - whole);
  const double in_place = steps * (events_a_step * frame_bytes + left_out_bytes) + 2.0 * row_bytes +
                          static_cast<double>(signals) * summary_bytes;
  return {left_out * pass, passes * in_place};
}

}  // namespace

CaptureNeed capture_need(const Timeline& timeline, const Bench& bench, std::size_t summarised_signals) {
  CaptureNeed need;
  const double samples_a_second = static_cast<double>(bench.signals.size()) / seconds(bench.tick);
  need.full_rate = samples_a_second * journal_bytes_per_sample;
  double kept = seconds(timeline.length() + timeline.settle()), in_place = 0.0;
  for (const auto& item : timeline.program()) {
    if (!item.keep) continue;
    double steps = 0.0;
    const double pass = length_of(item.again.empty() ? item.first : item.again, timeline, steps);
    double passes = item.count == without_end ? 1.0 : static_cast<double>(item.count);
    if (item.lasts > Duration{}) passes = seconds(item.lasts) / pass;
    const auto left_out = thinned(item, timeline, passes, summarised_signals);
    kept -= left_out.seconds;
    in_place += left_out.bytes;
    // Of so many passes that the first whole one does not count.
    constexpr double many = 1e6;
    const auto in_the_long_run = thinned(item, timeline, many, summarised_signals);
    need.kept_rate = ((many * pass - in_the_long_run.seconds) * need.full_rate + in_the_long_run.bytes) / (many * pass);
  }
  need.journal = kept * need.full_rate + in_place;
  need.archive = kept * samples_a_second * archive_bytes_per_sample + in_place;
  return need;
}

std::optional<double> free_bytes(const std::string& path) {
  std::error_code ignored;
  auto there = std::filesystem::absolute(path, ignored);
  while (!std::filesystem::exists(there, ignored) && there.has_relative_path()) there = there.parent_path();
  struct statvfs info {};
  if (statvfs(there.c_str(), &info) != 0) return {};
  return static_cast<double>(info.f_bavail) * static_cast<double>(info.f_frsize);
}

double reserve_bytes(const CaptureNeed& need) { return 120.0 * need.full_rate + to_end_in_order; }

Result<void> check_room(const CaptureNeed& need, const std::string& runs) {
  const auto there = free_bytes(runs);
  const double wanted = need.journal + reserve_bytes(need);
  if (!there || *there >= wanted) return {};
  return fail(Fault::storage,
              "the run needs about " + shown(wanted / 1e6, 3) + " MB for its journal and to end in good order, and '" +
                  runs + "' has room for " + shown(*there / 1e6, 3) +
                  " MB; nothing was moved. Make room, name another place with --runs, or keep less of a long "
                  "repeat ('keep' in the plan)");
}

}  // namespace trackrod
