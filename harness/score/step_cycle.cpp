#include "harness/score/step_cycle.hpp"

#include <algorithm>
#include <cmath>

#include "harness/score/findings.hpp"

namespace trackrod {
namespace {

constexpr double ms = 1e3;

class StepReader {
 public:
  StepReader(const ScoreInput& input, const StepSettings& settings)
      : input_{input},
        settings_{settings},
        in_info_{input.capture.signals()[input.signal("input")]},
        out_info_{input.capture.signals()[input.signal("output")]} {}
  StepCycle read(const Span& span) const;

 private:
  std::string find_levels(StepCycle& c, double end) const;
  void read_times(StepCycle& c, const Transition& in, const Transition& out, double end) const;
  std::optional<Settling> settling_of(const StepCycle& c, const Transition& transition, double end) const;
  void read_overshoot(StepCycle& c, const Transition& transition, const Series& series, const std::string& name,
                      double end) const;
  void read_settling(StepCycle& c, const Transition& out, double end) const;
  void read_steady_error(StepCycle& c, double in_change, double out_change) const;

  const ScoreInput& input_;
  const StepSettings& settings_;
  const SignalInfo& in_info_;
  const SignalInfo& out_info_;
};

// Levels of both signals, or why there are none. The stretch before the step ends where the input starts to move.
std::string StepReader::find_levels(StepCycle& c, double end) const {
  const double quiet = seconds(settings_.quiet);
  c.in_last = level_at_rest(c.input, end - quiet, end, in_info_.resolution);
  c.out_last = level_at_rest(c.output, end - quiet, end, out_info_.resolution);
  const auto head = level_at_rest(c.input, c.input.t.front(), c.input.t.front() + 0.5 * quiet, in_info_.resolution);
  const double rough = c.in_last.value - head.value;
  std::size_t moved = 0;
  while (moved < c.input.size() && std::abs(c.input.y[moved] - head.value) < 0.5 * std::abs(rough)) ++moved;
  const double near = std::max({0.01 * std::abs(rough), 5.0 * head.noise, in_info_.resolution});
  while (moved > 0 && std::abs(c.input.y[moved - 1] - head.value) > near) --moved;
  if (moved == 0 || moved >= c.input.size())
    return "'" + in_info_.name + "' does not step: it was moving from the start";
  // By then it has been on its way for a while, for less than twice as long as it takes from there to three times as
  // far, unless it starts very softly.
  std::size_t farther = moved;
  while (farther + 1 < c.input.size() && std::abs(c.input.y[farther] - head.value) < 3.0 * near) ++farther;
  const double onset = c.input.t[moved - 1] - std::min(0.5 * quiet, 2.0 * (c.input.t[farther] - c.input.t[moved - 1]));
  c.in_first = level_at_rest(c.input, onset - quiet, onset, in_info_.resolution);
  c.out_first = level_at_rest(c.output, onset - quiet, onset, out_info_.resolution);

  for (const bool is_input : {true, false}) {
    const auto& first = is_input ? c.in_first : c.out_first;
    const auto& last = is_input ? c.in_last : c.out_last;
    const auto& info = is_input ? in_info_ : out_info_;
    const auto name = std::string{is_input ? "input" : "output"} + " '" + info.name + "'";
    if (first.samples < 5 || last.samples < 5)
      return "the " + name +
             " has too few samples at rest; lengthen the hold around the step, or set a shorter \"quiet\"";
    const double change = std::abs(last.value - first.value);
    if (change < std::max(8.0 * std::max(first.noise, last.noise), 4.0 * info.resolution) || change == 0.0)
      return "no motion: the " + name + " changed by " + with_unit(change, info.unit) +
             ", no more than its noise and resolution";
    const double allowed = 0.25 * 0.01 * settings_.band * change;
    if (still_moving(first, info.resolution, allowed)) return "the " + name + " was not at rest before the step";
    if (still_moving(last, info.resolution, allowed))
      return "not settled: the " + name + " still moves at the end of the step; lengthen the hold after it";
  }
  const double gain = (c.out_last.value - c.out_first.value) / (c.in_last.value - c.in_first.value);
  if (settings_.ratio && gain * *settings_.ratio < 0.0)
    return "polarity: the output moved the wrong way; with this ratio it should go " +
           std::string{gain < 0.0 ? "with" : "against"} + " the input";
  return "";
}

StepCycle StepReader::read(const Span& span) const {
  StepCycle c;
  const auto from = std::max(input_.capture.begin(), span.from - settings_.quiet);
  c.input = read_series(input_.capture, input_.signal("input"), from, span.to, span.from);
  c.output = read_series(input_.capture, input_.signal("output"), from, span.to, span.from);
  const double end = seconds(span.to - span.from);
  c.trouble = !c.input.trouble.empty() ? c.input.trouble : c.output.trouble;
  if (c.trouble.empty()) c.trouble = stuck(c.input, c.output, in_info_.name, out_info_.name);
  if (c.trouble.empty()) c.trouble = find_levels(c, end);
  if (!c.trouble.empty()) return c;
  const Transition in{c.input, c.in_first, c.in_last, in_info_.resolution};
  const Transition out{c.output, c.out_first, c.out_last, out_info_.resolution};
  read_times(c, in, out, end);
  if (!c.trouble.empty()) return c;
  read_overshoot(c, in, c.input, "input_overshoot", end);
  read_overshoot(c, out, c.output, "overshoot", end);
  read_settling(c, out, end);
  read_steady_error(c, in.change(), out.change());
  return c;
}

// What a shift of the levels does to a crossing at `share` of the change, in s.
double level_shift(const Level& first, const Level& last, double share, double slope) {
  return std::hypot((1.0 - share) * first.standard_uncertainty, share * last.standard_uncertainty) / std::abs(slope);
}

void StepReader::read_times(StepCycle& c, const Transition& in, const Transition& out, double end) const {
  const double start = c.input.t.front();
  const auto in10 = in.crossing(0.1, start), in50 = in.crossing(0.5, start), in90 = in.crossing(0.9, start);
  if (!in10 || !in50 || !in90 || in90->t >= end) {
    c.trouble = "samples of '" + in_info_.name + "' are missing, or too noisy, where it crosses 10, 50 or 90 %";
    return;
  }
  c.zero = in50->t;
  const double in_slope = 0.8 * in.change() / (in90->t - in10->t);
  const double in_noise = std::hypot(in50->noise, level_shift(c.in_first, c.in_last, 0.5, in_slope));
  std::map<int, std::optional<Crossing>> at;
  for (const int percent : {10, 50, 90}) {
    // From where the input began: no answer can come before.
    at[percent] = out.crossing(0.01 * percent, in10->t - (in90->t - in10->t));
    auto& r = c.readings["delay_" + std::to_string(percent)];
    if (!at[percent]) {
      r.reason = "samples of '" + out_info_.name + "' are missing, or too noisy, where it crosses " +
                 std::to_string(percent) + " %";
      continue;
    }
    r.value = ms * (at[percent]->t - c.zero);
  }
  auto& rise = c.readings["rise_time"];
  auto& in_rise = c.readings["input_rise_time"];
  in_rise.value = ms * (in90->t - in10->t);
  in_rise.noise = ms * std::hypot(in10->noise, in90->noise);
  in_rise.common = {rectangular("samples of the input", ms * std::hypot(in10->half_width, in90->half_width))};
  if (!at[10] || !at[90]) {
    rise.reason = "samples of '" + out_info_.name + "' are missing, or too noisy, where it crosses 10 or 90 %";
    return;
  }
  const double out_rise = at[90]->t - at[10]->t;
  const double out_slope = 0.8 * out.change() / out_rise;
  for (const int percent : {10, 50, 90}) {
    auto& r = c.readings["delay_" + std::to_string(percent)];
    if (!r.value) continue;
    const double level = level_shift(c.out_first, c.out_last, 0.01 * percent, out_slope);
    r.noise = ms * std::sqrt(in_noise * in_noise + at[percent]->noise * at[percent]->noise + level * level);
    r.common = time_shift_budget(in_info_, out_info_, c.input.stamp_half_width, c.output.stamp_half_width);
    r.common.push_back(rectangular("samples of the input", ms * in50->half_width));
    r.common.push_back(rectangular("samples of the output", ms * at[percent]->half_width));
    r.common.push_back(rectangular("levels of the input",
                                   ms * std::max(c.in_first.half_width, c.in_last.half_width) / std::abs(in_slope)));
    r.common.push_back(rectangular("levels of the output",
                                   ms * std::max(c.out_first.half_width, c.out_last.half_width) / std::abs(out_slope)));
  }
  if (in90->t - in10->t > out_rise / 3.0) {
    rise.reason = "the input itself took " + with_unit(*in_rise.value, "ms") +
                  " from 10 to 90 %, more than a third of the output's " + with_unit(ms * out_rise, "ms") +
                  ": no claim on the unit's own rise";
    return;
  }
  rise.value = ms * out_rise;
  rise.noise = ms * std::hypot(at[10]->noise, at[90]->noise);
  rise.common = {rectangular("samples of the output", ms * std::hypot(at[10]->half_width, at[90]->half_width))};
}

std::optional<Settling> StepReader::settling_of(const StepCycle& c, const Transition& transition, double end) const {
  return transition.settling(0.01 * settings_.band, c.zero, end - 0.5 * seconds(settings_.quiet));
}

// Whether samples are missing while the waveform moves, or for as long again after it seems to have settled: what it
// did there is not known, and a peak may have been lost. One dropped sample or two hide none.
bool lost_on_the_way(const Series& s, const std::optional<Settling>& settled, double zero, double end) {
  constexpr double intervals = 5.0;
  const double until = settled ? zero + 2.0 * (settled->t - zero) : end;
  for (std::size_t i = 1; i < s.size(); ++i)
    if (s.t[i] > zero && s.t[i - 1] < until && s.t[i] - s.t[i - 1] > intervals * s.interval) return true;
  return false;
}

void StepReader::read_overshoot(StepCycle& c, const Transition& transition, const Series& series,
                                const std::string& name, double end) const {
  auto& r = c.readings[name];
  if (lost_on_the_way(series, settling_of(c, transition, end), c.zero, end)) {
    r.reason = "samples are missing where the farthest point may have been";
    return;
  }
  const auto extent = transition.overshoot(c.input.t.front());
  r.value = 100.0 * extent.value;
  r.noise = 100.0 * extent.standard_uncertainty;
  if (!extent.distinct) r.hull = {{0.0, 100.0 * (extent.value + 2.0 * extent.standard_uncertainty)}};
}

void StepReader::read_settling(StepCycle& c, const Transition& out, double end) const {
  auto& r = c.readings["settling_time"];
  const auto settled = settling_of(c, out, end);
  if (!settled) {
    r.reason = "not settled: the output does not stay within " + with_unit(settings_.band, "%") +
               " of its change for the end of the step, or its noise fills that band";
    return;
  }
  if (lost_on_the_way(c.output, settled, c.zero, end)) {
    r.reason = "samples of '" + out_info_.name + "' are missing where it settles";
    return;
  }
  r.value = ms * (settled->t - c.zero);
  r.common = time_shift_budget(in_info_, out_info_, c.input.stamp_half_width, c.output.stamp_half_width);
  r.hull = {{ms * (settled->earliest - c.zero), ms * (settled->latest - c.zero)}};
}

void StepReader::read_steady_error(StepCycle& c, double in_change, double out_change) const {
  auto& r = c.readings["steady_error"];
  if (!settings_.ratio) {
    r.reason = "no \"ratio\" is set, so what the output should be is not known";
    return;
  }
  const double k = 1.0 / *settings_.ratio;
  r.value = out_change - k * in_change;
  const auto square = [](double x) { return x * x; };
  r.noise = std::sqrt(square(c.out_first.standard_uncertainty) + square(c.out_last.standard_uncertainty) +
                      square(k * c.in_first.standard_uncertainty) + square(k * c.in_last.standard_uncertainty));
  r.common = calibration_budget(in_info_, in_change, k);
  for (auto& line : calibration_budget(out_info_, out_change)) r.common.push_back(line);
  for (const auto* level : {&c.out_first, &c.out_last})
    r.common.push_back(rectangular("resolution of the output", level->half_width));
  for (const auto* level : {&c.in_first, &c.in_last})
    r.common.push_back(rectangular("resolution of the input", std::abs(k) * level->half_width));
}

}  // namespace

StepCycle read_step(const ScoreInput& input, const StepSettings& settings, const Span& span) {
  return StepReader{input, settings}.read(span);
}

Finding mean_over_cycles(const Frame& frame, const std::string& name, const std::string& unit,
                         const std::vector<StepCycle>& cycles) {
  std::vector<double> values, noise;
  std::vector<Contribution> budget;
  std::optional<std::array<double, 2>> hull;
  std::string reason;
  for (const auto& c : cycles) {
    const auto at = c.readings.find(name);
    if (!c.trouble.empty() || at == c.readings.end() || !at->second.value) {
      const auto& why = !c.trouble.empty() ? c.trouble : at->second.reason;
      if (reason.empty()) reason = why;
      continue;
    }
    const auto& r = at->second;
    values.push_back(*r.value);
    noise.push_back(r.noise);
    if (budget.empty()) budget = r.common;
    if (r.hull && !hull) hull = {{1e300, -1e300}};
    if (r.hull) hull = {{std::min((*hull)[0], (*r.hull)[0]), std::max((*hull)[1], (*r.hull)[1])}};
  }
  const std::size_t left_out = cycles.size() - values.size();
  if (values.empty() || 3 * left_out > cycles.size())
    return frame.missing(name, unit,
                         left_out < cycles.size() ? reason + " (in " + std::to_string(left_out) + " of " +
                                                        std::to_string(cycles.size()) + " cycles)"
                                                  : reason);
  const auto mean = repeated(values, noise);
  budget.insert(budget.end(), mean.budget.begin(), mean.budget.end());
  auto told = frame;
  told.conditions.emplace_back("cycles", std::to_string(values.size()));
  if (values.size() > 1) {
    told.conditions.emplace_back("least", with_unit(mean.least, unit, 5));
    told.conditions.emplace_back("greatest", with_unit(mean.greatest, unit, 5));
  }
  if (left_out > 0) told.conditions.emplace_back("left_out", std::to_string(left_out) + " cycles: " + reason);
  auto finding = told.measured(name, unit, mean.mean, budget);
  if (finding.interval && hull)
    finding.interval = {{std::min((*finding.interval)[0], (*hull)[0]), std::max((*finding.interval)[1], (*hull)[1])}};
  if (finding.interval && unit == "%") (*finding.interval)[0] = std::max(0.0, (*finding.interval)[0]);
  return finding;
}

}  // namespace trackrod
