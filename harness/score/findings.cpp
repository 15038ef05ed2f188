#include "harness/score/findings.hpp"

#include <algorithm>
#include <cmath>

#include "harness/base/units.hpp"

namespace trackrod {
namespace {

Finding framed(const Frame& frame, const std::string& name, const std::string& unit) {
  Finding f;
  f.name = frame.score + "." + name;
  f.step = frame.step;
  f.signals = frame.signals;
  f.conditions = frame.conditions;
  f.unit = unit;
  return f;
}

bool share_clock(const SignalInfo& a, const SignalInfo& b) {
  return (!a.clock.empty() && a.clock == b.clock) || (!a.device.empty() && a.device == b.device);
}

// The signal whose delay everything else about its own rests on.
const std::string& delay_base(const SignalInfo& s) { return s.skew.against.empty() ? s.name : s.skew.against; }

}  // namespace

Finding Frame::measured(const std::string& name, const std::string& unit, double value,
                        std::vector<Contribution> budget) const {
  std::erase_if(budget, [](const Contribution& c) { return c.standard_uncertainty == 0.0; });
  Finding f = framed(*this, name, unit);
  const auto combined = combine(value, budget, f.coverage);
  if (!std::isfinite(value) || !std::isfinite(combined.standard_uncertainty))
    return missing(name, unit, "the evaluation came to no finite number");
  f.value = value;
  f.standard_uncertainty = combined.standard_uncertainty;
  f.interval = combined.interval;
  f.budget = std::move(budget);
  return f;
}

Finding Frame::exact(const std::string& name, const std::string& unit, double value) const {
  return measured(name, unit, value, {});
}

Finding Frame::missing(const std::string& name, const std::string& unit, const std::string& reason, bool tried) const {
  Finding f = framed(*this, name, unit);
  f.reason = reason;
  f.verdict = tried ? Verdict::inconclusive : Verdict::not_run;
  return f;
}

Frame pair_frame(const ScoreInput& input, const std::string& score, const std::string& step) {
  const auto& in = input.capture.signals()[input.signal("input")];
  const auto& out = input.capture.signals()[input.signal("output")];
  const bool ours = in.bench_owned && out.bench_owned;
  return {score, step, {in.name, out.name}, {{"measured_between", ours ? "end to end" : "internal"}}};
}

std::vector<std::pair<std::string, std::vector<Span>>> by_step(const std::vector<Span>& spans) {
  std::vector<std::pair<std::string, std::vector<Span>>> steps;
  for (const auto& span : spans) {
    auto at = std::find_if(steps.begin(), steps.end(), [&](const auto& s) { return s.first == span.step; });
    if (at == steps.end()) at = steps.insert(steps.end(), {span.step, {}});
    at->second.push_back(span);
  }
  return steps;
}

std::vector<Span> joined(std::vector<Span> spans, Duration tick) {
  std::sort(spans.begin(), spans.end(), [](const Span& a, const Span& b) { return a.from < b.from; });
  std::vector<Span> out;
  for (auto& span : spans) {
    if (!out.empty() && span.from - out.back().to <= 2 * tick)
      out.back().to = std::max(out.back().to, span.to);
    else
      out.push_back(std::move(span));
  }
  return out;
}

std::string step_names(const std::vector<Span>& spans) {
  std::string names;
  for (const auto& [name, of_step] : by_step(spans)) names += (names.empty() ? "" : ", ") + name;
  return names;
}

std::vector<Contribution> stamps_budget(double input_half_width, double output_half_width) {
  return {rectangular("stamps of the input", 1e3 * input_half_width),
          rectangular("stamps of the output", 1e3 * output_half_width)};
}

std::vector<Contribution> time_shift_budget(const SignalInfo& input, const SignalInfo& output, double input_half_width,
                                            double output_half_width) {
  constexpr double ms = 1e3;
  auto budget = stamps_budget(input_half_width, output_half_width);
  // Delays that were measured against one sensor share its own, which cancels.
  if (delay_base(input) == delay_base(output)) {
    budget.push_back(
        type_b("skew of the input against '" + input.skew.against + "'", ms * seconds(input.skew.uncertainty)));
    budget.push_back(
        type_b("skew of the output against '" + output.skew.against + "'", ms * seconds(output.skew.uncertainty)));
  } else {
    budget.push_back(type_b("delay of the input's sensor", ms * seconds(input.delay_uncertainty)));
    budget.push_back(type_b("delay of the output's sensor", ms * seconds(output.delay_uncertainty)));
  }
  if (!share_clock(input, output)) {
    budget.push_back(rectangular("uneven path to the input's clock", ms * seconds(input.clock_asymmetry)));
    budget.push_back(rectangular("uneven path to the output's clock", ms * seconds(output.clock_asymmetry)));
  }
  return budget;
}

Duration timing_resolution(const TimingQuality& timing) { return std::max(timing.tick / 2, timing.late_p99); }

void refuse_below_resolution(Finding& delay, const TimingQuality& timing, double sample_interval) {
  if (!delay.value) return;
  const double floor = 1e3 * std::max(seconds(timing_resolution(timing)), 0.5 * sample_interval);
  if (std::abs(*delay.value) >= floor) return;
  delay.reason = "below resolution: " + with_unit(*delay.value, "ms") +
                 " was found, and this run can tell delays from " + with_unit(floor, "ms") + " on";
  delay.value.reset();
  delay.standard_uncertainty.reset();
  delay.interval.reset();
  delay.budget.clear();
  delay.verdict = Verdict::inconclusive;
}

std::vector<Contribution> calibration_budget(const SignalInfo& info, double change, double sensitivity) {
  const auto& c = info.calibration;
  const double u =
      c.gain_uncertainty > 0.0 ? c.gain_uncertainty * std::abs(change) : std::sqrt(2.0) * c.standard_uncertainty;
  return {type_b("calibration of '" + info.name + "'", std::abs(sensitivity) * u)};
}

std::string some_of(std::size_t some, std::size_t all) { return std::to_string(some) + " of " + std::to_string(all); }

std::string with_unit(double value, const std::string& unit, int digits) { return shown(value, digits) + " " + unit; }

}  // namespace trackrod
