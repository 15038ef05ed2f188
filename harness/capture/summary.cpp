#include "harness/capture/summary.hpp"

#include <algorithm>
#include <cmath>

namespace trackrod {

void Histogram::add(Duration value) {
  const auto bin = static_cast<std::size_t>(std::max<Duration::rep>(value.count(), 0) / bin_.count());
  ++counts_[std::min(bin, counts_.size() - 1)];
  ++total_;
  greatest_ = std::max(greatest_, value);
}

Duration Histogram::percentile(double percent) const {
  const auto rank = static_cast<std::uint64_t>(std::ceil(percent / 100.0 * static_cast<double>(total_)));
  std::uint64_t below = 0;
  for (std::size_t i = 0; i + 1 < counts_.size(); ++i) {
    below += counts_[i];
    if (below >= rank && below > 0) return std::min(bin_ * static_cast<Duration::rep>(i + 1), greatest_);
  }
  return greatest_;
}

void Summary::advance(BenchTime when) {
  if (!begin_) end_ = when;
  begin_ = std::min(begin_.value_or(when), when);
  if (when < end_) return;
  end_ = when;
  for (const auto& [id, index] : open_) spans_[index].to = when;
}

void Summary::add(const Tick& tick) {
  advance(tick.due);
  if (last_number_ && tick.number > *last_number_) missed_ += tick.number - *last_number_ - 1;
  last_number_ = tick.number;
  ++ticks_;
  late_.add(Duration{tick.late_ns});
  work_.add(Duration{tick.work_ns});
  if (tick.input_age_ns != UINT32_MAX) input_age_max_ = std::max(input_age_max_, Duration{tick.input_age_ns});
}

void Summary::add(const LeftOut& left_out) {
  advance(left_out.from);
  advance(left_out.to);
  if (left_out.ticks == 0) return;
  if (last_number_ && left_out.first_tick > *last_number_) missed_ += left_out.first_tick - *last_number_ - 1;
  last_number_ = left_out.last_tick;
  ticks_ += left_out.ticks;
  missed_ += left_out.missed;
  late_.reached(left_out.late_max);
  work_.reached(left_out.work_max);
  input_age_max_ = std::max(input_age_max_, left_out.input_age_max);
}

void Summary::add(const Event& event) {
  advance(event.when);
  events_.push_back(event);
  if (event.kind == EventKind::step_started) {
    if (const auto running = open_.find(event.a); running != open_.end()) spans_[running->second].to = event.when;
    open_[event.a] = spans_.size();
    spans_.push_back({step_name(header_, event.a), event.b, event.when, event.when, false});
  } else if (event.kind == EventKind::step_ended) {
    const auto running = open_.find(event.a);
    if (running == open_.end()) return;
    spans_[running->second].to = event.when;
    spans_[running->second].complete = event.value == 1.0;
    open_.erase(running);
  }
}

TimingQuality Summary::timing() const {
  TimingQuality q;
  q.tick = header_.tick;
  q.ticks = ticks_;
  q.missed = missed_;
  q.late_histogram = late_.counts();
  q.late_bin = late_.bin();
  q.late_p50 = late_.percentile(50.0);
  q.late_p99 = late_.percentile(99.0);
  q.late_max = late_.greatest();
  q.work_p50 = work_.percentile(50.0);
  q.work_p99 = work_.percentile(99.0);
  q.work_max = work_.greatest();
  q.input_age_max = input_age_max_;
  return q;
}

}  // namespace trackrod
