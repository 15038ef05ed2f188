#include "harness/plan/preview.hpp"

#include <algorithm>

#include "harness/plan/drafting.hpp"
#include "harness/plan/vehicle_lint.hpp"

namespace trackrod {
namespace {

constexpr double near_share = 0.9;

// The program with each body laid out once for its first pass and once for the later ones; of a seek, its hardest
// value.
class Layout {
 public:
  Layout(const Timeline& timeline, Preview& out) : timeline_{timeline}, out_{out} { lay(timeline.program(), 1); }
  // Steps of out.stretches, one for one.
  const std::vector<const TimelineStep*>& steps() const { return steps_; }

 private:
  void lay(const std::vector<TimelineItem>& items, std::uint64_t times) {
    for (const auto& item : items) {
      if (!item.levels.empty()) {
        lay(item.levels.back(), times * item.count);
        continue;
      }
      if (item.count > 0) {
        lay(item.first, times);
        if (item.count > 1) lay(item.again, item.count == without_end ? without_end : times * (item.count - 1));
        if (item.check_every > 0)
          lay(item.check, item.count == without_end ? without_end : item.count / item.check_every);
        continue;
      }
      const auto& step = timeline_.steps()[item.step];
      const double to = out_.drawn_seconds + seconds(step.length);
      out_.stretches.push_back({step.name, out_.drawn_seconds, to, times, step.until.has_value()});
      out_.drawn_seconds = to;
      steps_.push_back(&step);
    }
  }
  const Timeline& timeline_;
  Preview& out_;
  std::vector<const TimelineStep*> steps_;
};

const Motion* motion_of(const TimelineStep& step, SignalIndex signal) {
  for (const auto& c : step.channels)
    if (c.signal == signal) return &c.motion;
  return nullptr;
}

// One signal through all stretches.
class Tracer {
 public:
  Tracer(const Preview& preview, const std::vector<const TimelineStep*>& steps, SignalIndex signal, double start)
      : preview_{preview}, steps_{steps}, signal_{signal}, start_{start} {}

  Extent whole() const {
    Extent all;
    all.low = all.high = start_;
    for (const auto* step : steps_)
      if (const auto* motion = motion_of(*step, signal_)) all.include(extent(*motion));
    return all;
  }

  PreviewCurve curve(std::size_t slices) const {
    PreviewCurve curve;
    if (preview_.drawn_seconds <= 0 || slices == 0) return curve;
    const double width = preview_.drawn_seconds / static_cast<double>(slices);
    std::size_t first = 0;
    double before = start_;
    for (std::size_t i = 0; i < slices; ++i) {
      const double from = width * static_cast<double>(i), to = from + width;
      for (; first + 1 < steps_.size() && preview_.stretches[first].to <= from; ++first)
        if (const auto* motion = motion_of(*steps_[first], signal_)) before = motion->end;
      const auto e = slice(first, before, from, to);
      curve.time.push_back(0.5 * (from + to));
      curve.low.push_back(e.low);
      curve.high.push_back(e.high);
    }
    return curve;
  }

 private:
  // Least and greatest value from stretch `first` on, which starts at the value `now`.
  Extent slice(std::size_t first, double now, double from, double to) const {
    Extent e;
    for (std::size_t s = first; s < steps_.size() && preview_.stretches[s].from < to; ++s) {
      const double begin = preview_.stretches[s].from;
      if (const auto* motion = motion_of(*steps_[s], signal_)) {
        e.include(values_between(*motion, from - begin, std::min(to, preview_.stretches[s].to) - begin));
        now = motion->end;
      } else {
        e.low = std::min(e.low, now);
        e.high = std::max(e.high, now);
      }
    }
    return e;
  }

  const Preview& preview_;
  const std::vector<const TimelineStep*>& steps_;
  SignalIndex signal_;
  double start_;
};

std::vector<LimitUse> limits_used(const SignalSpec& spec, const Extent& e) {
  std::vector<LimitUse> uses;
  const auto& info = spec.info;
  if (info.range_low < info.range_high) {
    // An end at zero has no neighbourhood of 10 %.
    uses.push_back({"upper end of the range", info.unit, e.high, info.range_high, info.range_high - e.high,
                    info.range_high > 0 && e.high >= near_share * info.range_high});
    uses.push_back({"lower end of the range", info.unit, e.low, info.range_low, e.low - info.range_low,
                    info.range_low < 0 && e.low <= near_share * info.range_low});
  }
  const auto derivative = [&](const std::string& name, int order, double asked, double allowed) {
    if (allowed > 0)
      uses.push_back(
          {name, rate_unit(info.unit, order), asked, allowed, allowed - asked, asked >= near_share * allowed});
  };
  derivative("max_slew", 1, e.rate, info.max_slew);
  derivative("max_jerk", 3, e.jerk, spec.max_jerk);
  return uses;
}

void note_limits(const SignalSpec& spec, const PreviewSignal& s, double start, std::vector<std::string>& notes) {
  for (const auto& use : s.limits)
    if (use.near)
      notes.push_back("'" + spec.info.name + "' comes near the " + use.limit + ": " + in_words(use.asked, use.unit) +
                      " of " + in_words(use.allowed, use.unit));
  if (s.trip && s.trip->until_safe > s.trip->room)
    notes.push_back("axis '" + s.trip->axis + "': a trip of interlock '" + s.trip->interlock + "' at " +
                    in_words(s.trip->rate, rate_unit(spec.info.unit)) + " could take it " +
                    in_words(s.trip->until_safe, spec.info.unit) +
                    " on if nothing brakes before the safe state's time is over, and " +
                    in_words(s.trip->room, spec.info.unit) +
                    " are left to the end of the range; make sure that the drive stops it, or a hard-wired limit does");
  if (spec.start_from != no_signal)
    notes.push_back("'" + spec.info.name + "' is moved from where it is found to " + in_words(start, spec.info.unit) +
                    " before the first step");
}

}  // namespace

Preview preview(const Timeline& timeline, const Bench& bench, const PreviewOptions& options) {
  Preview out;
  out.length = timeline.length();
  out.endless = timeline.is_endless();
  out.settle = timeline.settle();
  out.steps = timeline.step_count();
  const Layout layout{timeline, out};
  for (const auto& [signal, start] : timeline.start()) {
    const Tracer tracer{out, layout.steps(), signal, start};
    const auto& spec = bench.signals[signal];
    PreviewSignal s;
    s.signal = signal;
    s.extent = tracer.whole();
    s.limits = limits_used(spec, s.extent);
    s.trip = trip_travel(bench, signal, s.extent);
    s.curve = tracer.curve(options.slices);
    note_limits(spec, s, start, out.notes);
    out.signals.push_back(std::move(s));
  }
  if (std::any_of(out.stretches.begin(), out.stretches.end(), [](const auto& s) { return s.wait; }))
    out.notes.push_back("the duration counts every wait with its longest time");
  if (out.endless)
    out.notes.push_back(
        "a repeat has no end of its own: duration, steps and size count one pass of it; a limit that "
        "stops it, or a person, ends it");
  const auto& steps = timeline.steps();
  if (std::any_of(steps.begin(), steps.end(), [](const auto& s) { return s.load != LoadUse::none; }))
    out.notes.push_back("on the road the load model drives '" + bench.signals[bench.load->force].info.name +
                        "': what follows from what the unit does is not drawn");
  for (auto& note : vehicle_notes(timeline, bench)) out.notes.push_back(std::move(note));
  return out;
}

}  // namespace trackrod
