#include "harness/cli/follower.hpp"

#include <algorithm>
#include <cmath>
#include <map>

#include "harness/capture/reader.hpp"
#include "harness/score/scoring.hpp"

namespace trackrod {
namespace {

// Limits are looked at again when the cycles are so many times as many: the work of a night stays in proportion.
constexpr double growth = 1.02;

bool has_stops(const Criterion& criterion) { return std::ranges::any_of(criterion.limits, &LimitSpec::stops); }

// The one repeat that is followed: the one that keeps a part of its samples, else the first one with followed steps.
const TimelineItem* followed_repeat(const Loaded& loaded) {
  const TimelineItem* found = nullptr;
  for (const auto& item : loaded.timeline->program()) {
    if (item.keep) return &item;
    const auto names = steps_inside({item}, loaded.timeline->steps());
    for (const auto& criterion : loaded.plan->criteria)
      if (found == nullptr && has_stops(criterion) &&
          std::ranges::any_of(criterion.steps, [&](const auto& step) { return names.contains(step); }))
        found = &item;
  }
  return found;
}

std::string first_direct(const TimelineItem& repeat, const Timeline& timeline) {
  const auto at = std::ranges::find(repeat.first, std::uint64_t{0}, &TimelineItem::count);
  return timeline.steps()[at->step].name;
}

// Beside what a plan does by itself.
bool is_notable(EventKind kind) {
  switch (kind) {
    case EventKind::state_changed:
    case EventKind::step_announced:
    case EventKind::step_started:
    case EventKind::step_ended:
    case EventKind::clock_pair:
    case EventKind::inspected:
      return false;
    default:
      return true;
  }
}

SignalSummary summary_of(const CaptureView& capture, SignalIndex signal, BenchTime from, BenchTime to) {
  SignalSummary out;
  out.name = capture.signals()[signal].name;
  const auto points = capture.points(signal, from, to);
  if (!points) return out;
  double sum = 0.0;
  for (const auto& p : *points) {
    if (!std::isfinite(p.value)) continue;
    out.least = out.samples == 0 ? p.value : std::min(out.least, p.value);
    out.greatest = out.samples == 0 ? p.value : std::max(out.greatest, p.value);
    ++out.samples;
    sum += p.value;
  }
  if (out.samples > 0) out.mean = sum / static_cast<double>(out.samples);
  return out;
}

void cut_out(const TimeRange& hole, std::vector<TimeRange>& ranges) {
  std::vector<TimeRange> left;
  for (const auto& r : ranges) {
    if (hole.to <= r.from || hole.from >= r.to) {
      left.push_back(r);
      continue;
    }
    if (hole.from > r.from) left.push_back({r.from, hole.from});
    if (hole.to < r.to) left.push_back({hole.to, r.to});
  }
  ranges = std::move(left);
}

}  // namespace

std::vector<SignalIndex> summarised_signals(const Plan& plan) {
  std::set<SignalIndex> all;
  for (const auto& criterion : plan.criteria) {
    for (const auto& [role, signal] : criterion.signals) all.insert(signal);
    all.insert(criterion.conditions.begin(), criterion.conditions.end());
  }
  return {all.begin(), all.end()};
}

bool is_followed(const Loaded& loaded) { return followed_repeat(loaded) != nullptr; }

// A segment of a run that is followed is worked out when it is closed.
SegmentLimits segment_limits(const Loaded& loaded) {
  SegmentLimits limits;
  if (is_followed(loaded)) limits.time = std::chrono::minutes{1};
  return limits;
}

Result<Follower> Follower::create(const Loaded& loaded, const std::string& folder) {
  auto file = CyclesFile::open(folder + "/cycles.jsonl", loaded.plan->criteria.size());
  if (!file) return tl::unexpected<Error>{file.error()};
  return Follower{loaded, folder, std::move(*file)};
}

Follower::Follower(const Loaded& loaded, const std::string& folder, CyclesFile file)
    : loaded_{loaded},
      journal_{folder + "/journal"},
      repeat_{followed_repeat(loaded)},
      first_step_{first_direct(*repeat_, *loaded.timeline)},
      inside_{steps_inside(repeat_->first, loaded.timeline->steps())},
      file_{std::move(file)},
      known_(loaded.plan->criteria.size()) {
  for (std::size_t i = 0; i < known_.size(); ++i)
    for (const auto& value : file_.book()[i]) known_[i].insert(value.cycle);
}

Result<std::optional<std::string>> Follower::take(bool ended) {
  const auto all = JournalReader::open(journal_);
  if (!all) return tl::unexpected<Error>{all.error()};
  auto closed = all->segments();
  if (!ended) closed.pop_back();
  if (closed.size() <= done_) return std::nullopt;
  closed.erase(closed.begin(), closed.begin() + static_cast<std::ptrdiff_t>(done_));
  const auto opened = JournalCapture::over(closed);
  if (!opened) return tl::unexpected<Error>{opened.error()};
  const auto& capture = **opened;
  take_cycles(capture);
  const auto passes = passes_in(capture, ended);
  take_passes(capture, passes);
  if (auto synced = file_.sync(); !synced) return tl::unexpected<Error>{synced.error()};

  // What is left out is gone, so no segment before all that may still ask for it is there.
  const auto leave_out = to_leave_out(capture, passes);
  auto open_from = BenchTime::max();
  for (const auto& pass : passes)
    if (pass.closed) open_from = pass.from;
  const auto before = repeat_->keep ? repeat_->keep->before : Duration{};
  const auto ends = capture.segment_ends();
  auto done_to = BenchTime::min();
  for (std::size_t i = 0; i < closed.size(); ++i) {
    if (!ended && (ends[i] >= open_from || open_from == BenchTime::max() || ends[i] + before > capture.end())) break;
    if (repeat_->keep)
      if (auto thinned = thin_segment(closed[i], leave_out); !thinned) return tl::unexpected<Error>{thinned.error()};
    ++done_;
    done_to = std::max(done_to, ends[i]);
  }
  if (done_to > BenchTime::min()) {
    const auto over = std::ranges::find_if(leave_out, [&](const TimeRange& r) { return r.to > done_to; });
    straddling_.reset();
    if (over != leave_out.end() && over->from <= done_to) straddling_ = *over;
  }
  return told_ ? std::nullopt : limit_passed(capture);
}

// Each cycle of each criterion that takes its steps cycle by cycle, once all its steps are complete.
void Follower::take_cycles(const JournalCapture& capture) {
  const auto& criteria = loaded_.plan->criteria;
  for (std::size_t i = 0; i < criteria.size(); ++i) {
    const auto& criterion = criteria[i];
    if (!criterion.by_cycle) continue;
    std::map<std::uint32_t, std::vector<Span>> cycles;
    for (const auto& span : capture.spans())
      if (span.complete && span.kept && !known_[i].contains(span.cycle) &&
          std::ranges::find(criterion.steps, span.step) != criterion.steps.end())
        cycles[span.cycle].push_back(span);
    for (auto& [cycle, spans] : cycles) {
      if (spans.size() != criterion.steps.size()) continue;
      const auto value =
          score_cycle(criterion.score, {capture, std::move(spans), criterion.signals, criterion.settings}, cycle);
      if (!value.good && inside_.contains(criterion.steps.front())) telling_.insert(cycle);
      known_[i].insert(cycle);
      file_.add(ValueRow{i, value});
    }
  }
}

std::vector<Follower::Pass> Follower::passes_in(const JournalCapture& capture, bool ended) const {
  std::vector<Pass> passes;
  const auto close = [&](BenchTime at) {
    if (passes.empty() || passes.back().closed) return;
    passes.back().to = at;
    passes.back().closed = true;
  };
  for (const auto& span : capture.spans()) {
    if (span.step == first_step_) {
      close(span.from);
      passes.push_back({span.cycle, span.from, span.to, true, false});
    } else if (!inside_.contains(span.step)) {
      close(span.from);
    }
    if (!passes.empty() && !passes.back().closed) passes.back().complete &= span.complete;
  }
  if (ended) close(capture.end());
  return passes;
}

void Follower::take_passes(const JournalCapture& capture, const std::vector<Pass>& passes) {
  if (!repeat_->keep) return;
  const auto signals = summarised_signals(*loaded_.plan);
  const auto every = repeat_->keep->whole_every;
  for (const auto& pass : passes) {
    if (!pass.closed || (file_.last_pass() && pass.number <= *file_.last_pass())) continue;
    PassRow row{pass.number, pass.from, pass.to, pass.complete, false, {}};
    const auto& last = file_.last_whole();
    row.whole =
        !pass.complete || !last || (every > Duration{} && pass.from - *last >= every) || telling_.contains(pass.number);
    for (const auto signal : signals) row.signals.push_back(summary_of(capture, signal, pass.from, pass.to));
    file_.add(row);
  }
}

std::vector<TimeRange> Follower::to_leave_out(const JournalCapture& capture, const std::vector<Pass>& passes) {
  std::vector<TimeRange> out;
  if (!repeat_->keep) return out;
  // Of a pass that began in a segment before these only the end is seen.
  if (straddling_) {
    out.push_back(*straddling_);
    if (!passes.empty()) out.back().to = std::min(out.back().to, passes.front().from);
  }
  for (const auto& pass : passes) {
    if (!pass.closed || file_.whole().contains(pass.number)) continue;
    if (!out.empty() && out.back().to == pass.from)
      out.back().to = pass.to;
    else
      out.push_back({pass.from, pass.to});
  }
  const auto& keep = *repeat_->keep;
  std::erase_if(around_, [&](const TimeRange& r) { return r.to < capture.begin(); });
  for (const auto& e : capture.events())
    if (is_notable(e.kind)) around_.push_back({e.when - keep.before, e.when + keep.after});
  for (const auto& range : around_) cut_out(range, out);
  return out;
}

std::optional<std::string> Follower::limit_passed(const CaptureView& capture) {
  std::size_t values = 0;
  for (const auto& of_one : file_.book()) values += of_one.size();
  if (static_cast<double>(values) < growth * static_cast<double>(judged_at_)) return std::nullopt;
  judged_at_ = values;
  const auto& criteria = loaded_.plan->criteria;
  for (std::size_t i = 0; i < criteria.size(); ++i) {
    const auto& criterion = criteria[i];
    if (!has_stops(criterion)) continue;
    auto scored =
        run_score(criterion.score, ScoreInput{capture, {}, criterion.signals, criterion.settings, file_.book()[i]});
    if (!scored) continue;
    judge_all(scored->findings, criterion, "");
    for (const auto& limit : criterion.limits)
      for (const auto& f : scored->findings) {
        if (!limit.stops || f.name != limit.finding || f.verdict != Verdict::fail) continue;
        told_ = true;
        return "after " + std::to_string(file_.book()[i].size()) + " cycles '" + f.name + "' is " + shown(*f.value, 4) +
               " " + f.unit +
               (f.interval ? " (" + shown((*f.interval)[0], 4) + " to " + shown((*f.interval)[1], 4) + ")" : "") +
               " and fails its limit, which stops the repeat";
      }
  }
  return std::nullopt;
}

}  // namespace trackrod
