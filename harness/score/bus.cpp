// The score `bus`: how well the run itself kept time. docs/scores/bus.md.

#include <algorithm>
#include <cmath>

#include "harness/score/figure.hpp"
#include "harness/score/findings.hpp"
#include "harness/score/scores.hpp"
#include "harness/score/shared_intervals.hpp"

namespace trackrod {
namespace {

struct BusSettings {
  double gap{1.5};
};

const Fields<BusSettings>& bus_fields() {
  static const auto fields =
      Fields<BusSettings>{
          "score", "Timing of the run itself: lateness of the loop, age of inputs, intervals and gaps of every signal"}
          .may("gap", &BusSettings::gap, number(1.1, 1000.0),
               "an interval longer than this many usual ones is a gap; 1.5 when not given");
  return fields;
}

constexpr double ms = 1e3, us = 1e6;

// What the histogram leaves open of a quantile: one bin either way.
std::vector<Contribution> bin_budget(const TimingQuality& timing) {
  return {rectangular("bin of the histogram", us * seconds(timing.late_bin))};
}

void add_loop(const CaptureView& capture, ScoreResult& result) {
  const auto& timing = capture.timing();
  const Frame frame{"bus", "", {}, {{"ticks", std::to_string(timing.ticks)}}};
  if (timing.ticks == 0) {
    for (const auto& [name, unit] : {std::pair{"tick_late_p50", "us"},
                                     {"tick_late_p99", "us"},
                                     {"tick_late_max", "us"},
                                     {"missed_ticks", "1"},
                                     {"input_age_max", "ms"}})
      result.findings.push_back(
          frame.missing(name, unit, "the capture holds no ticks of the loop, as one made elsewhere", false));
    return;
  }
  result.findings.push_back(frame.measured("tick_late_p50", "us", us * seconds(timing.late_p50), bin_budget(timing)));
  result.findings.push_back(frame.measured("tick_late_p99", "us", us * seconds(timing.late_p99), bin_budget(timing)));
  result.findings.push_back(frame.exact("tick_late_max", "us", us * seconds(timing.late_max)));
  result.findings.push_back(frame.exact("missed_ticks", "1", static_cast<double>(timing.missed)));
  result.findings.push_back(frame.exact("input_age_max", "ms", ms * seconds(timing.input_age_max)));
}

void add_losses(const CaptureView& capture, ScoreResult& result) {
  double lost = 0.0;
  for (const auto& gap : capture.gaps()) lost += static_cast<double>(gap.count);
  Frame frame{"bus", "", {}, {}};
  for (const auto& gap : capture.gaps())
    frame.conditions.emplace_back("gap", std::to_string(gap.count) + " records: " + gap.why);
  if (frame.conditions.size() > 5) frame.conditions.resize(5);
  result.findings.push_back(frame.exact("records_lost", "1", lost));
}

bool measured(const SignalInfo& signal) { return signal.direction == Direction::read; }

// Of every measured signal, over the spans asked for, or over the whole capture when none is.
SharedIntervals intervals_of(const ScoreInput& input) {
  std::vector<bool> wanted;
  for (const auto& info : input.capture.signals()) wanted.push_back(measured(info));
  SharedIntervals intervals{wanted};
  auto stretches = input.spans;
  if (stretches.empty()) stretches.push_back({"", 0, input.capture.begin(), input.capture.end() + Duration{1}, true});
  for (const auto& span : stretches) {
    intervals.break_off();
    // What cannot be read is missing, as the capture's gaps say.
    (void)input.capture.each_stamps(span.from, span.to,
                                    [&](auto signals, auto stamps) { intervals.add(signals, stamps); });
  }
  return intervals;
}

void add_signal(const SignalInfo& info, const IntervalHistogram& intervals, double gap_factor, ScoreResult& result) {
  const Frame frame{"bus", "", {info.name}, {}};
  if (intervals.count() < 10) {
    for (const auto& [name, unit] :
         {std::pair{"interval", "ms"}, {"jitter", "ms"}, {"longest_interval", "ms"}, {"gaps", "1"}})
      result.findings.push_back(frame.missing(
          name, unit,
          "'" + info.name + "' has " + std::to_string(intervals.count() + 1) + " samples or fewer here: too few"));
    return;
  }
  const auto median = intervals.quantile(0.5);
  const auto gaps = intervals.longer_than(from_seconds(gap_factor * seconds(median)));
  result.findings.push_back(frame.exact("interval", "ms", ms * seconds(median)));
  result.findings.push_back(
      frame.exact("jitter", "ms", ms * 0.5 * seconds(intervals.quantile(0.99) - intervals.quantile(0.01))));
  result.findings.push_back(frame.exact("longest_interval", "ms", ms * seconds(intervals.longest())));
  result.findings.push_back(frame.exact("gaps", "1", static_cast<double>(gaps)));
}

ScoreResult run_bus(const ScoreInput& input) {
  const auto& settings = std::any_cast<const BusSettings&>(input.settings);
  ScoreResult result;
  add_loop(input.capture, result);
  add_losses(input.capture, result);
  const auto intervals = intervals_of(input);
  for (std::size_t i = 0; i < input.capture.signals().size(); ++i)
    if (const auto& info = input.capture.signals()[i]; measured(info))
      add_signal(info, intervals.of(static_cast<SignalIndex>(i)), settings.gap, result);
  return result;
}

}  // namespace

ScoreKind bus_score() {
  ScoreKind score;
  score.entry.settings = kind("bus", bus_fields);
  score.entry.findings = {
      {"tick_late_p50", "us", "lateness of the loop's ticks: half of them were no later"},
      {"tick_late_p99", "us", "lateness of the loop's ticks: 99 of 100 were no later"},
      {"tick_late_max", "us", "lateness of the latest tick"},
      {"missed_ticks", "1", "ticks that did not run; an exact count"},
      {"input_age_max", "ms", "age of the oldest input when the loop used it"},
      {"records_lost", "1", "records missing from the capture; an exact count"},
      {"interval", "ms", "time between samples of a signal, median; one for each signal"},
      {"jitter", "ms", "half the range that holds the middle 98 of 100 intervals; one for each signal"},
      {"longest_interval", "ms", "the longest time without a sample; one for each signal"},
      {"gaps", "1", "intervals longer than the setting allows; an exact count, one for each signal"}};
  score.run = run_bus;
  return score;
}

}  // namespace trackrod
