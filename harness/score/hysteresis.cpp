// The score `hysteresis`: width of the loop that output draws over input in sweeps to and fro.
// docs/scores/hysteresis.md.

#include <algorithm>
#include <cmath>
#include <random>

#include "harness/base/units.hpp"
#include "harness/score/findings.hpp"
#include "harness/score/line_fit.hpp"
#include "harness/score/loop_figures.hpp"
#include "harness/score/rate_groups.hpp"
#include "harness/score/scores.hpp"
#include "harness/score/scoring.hpp"

namespace trackrod {
namespace {

struct HysteresisSettings {
  std::optional<double> centre;  // input unit; empty: middle of the sweep
  int positions{9};
  double reach{80.0};  // % of the sweep
  double window{4.0};  // % of the sweep
  Duration settle{from_seconds(0.1)};
};

const Fields<HysteresisSettings>& hysteresis_fields() {
  static const auto fields =
      Fields<HysteresisSettings>{"score",
                                 "Width of the loop of output over input in sweeps to and fro, apparent and with the "
                                 "share of pure lag taken out"}
          .may("centre", &HysteresisSettings::centre, maybe(number(-1e9, 1e9)),
               "where the loop's width is read, a number in the input's unit; the middle of the sweep when not given")
          .may("positions", &HysteresisSettings::positions, integer<int>(3, 101),
               "number of fixed positions over the sweep; 9 when not given")
          .may("reach", &HysteresisSettings::reach, quantity("%", 10.0, 95.0),
               "part of the sweep, about its middle, that the positions cover; 80 % when not given")
          .may(
              "window", &HysteresisSettings::window, quantity("%", 0.2, 20.0),
              "part of the sweep on either side of a position whose samples give the reading there; 4 % when not given")
          .may("settle", &HysteresisSettings::settle, duration(Duration{0}, from_seconds(10.0)),
               "time after a reversal whose samples are left out, at least; four times the lag is "
               "taken when that is more; 100 ms when not given");
  return fields;
}

constexpr double distinct_rates = 1.5;  // fastest over slowest, at least, for a line over the rate
constexpr double least_chance = 0.01;   // a line that fits worse than this is refused
constexpr double lags_to_settle = 4.0;  // after a reversal; the lag holds the dead time and twice the slowness
constexpr double longest_settle = 5.0;  // s

class HysteresisScore {
 public:
  explicit HysteresisScore(const ScoreInput& input);
  ScoreResult run();

 private:
  ReadingRule rule_with(double settle) const;
  std::vector<Contribution> width_budget(const LoopGap& gap) const;
  std::vector<Contribution> scaled(std::vector<Contribution> budget, double by) const;
  void add_apparent(const RateGroup& group);
  void add_greatest(const RateGroup& group, const Frame& frame);
  void add_shape(const RateGroup& group, const Frame& frame);
  void read_gaps(double settle);
  // The groups whose gap at the centre is known, and the line through them: width over twice the rate, in the unit of
  // the output or along the input.
  std::vector<const RateGroup*> known_groups() const;
  LineFit line_over_rate(const std::vector<const RateGroup*>& groups, bool along_input) const;
  void add_corrected();
  Finding corrected(const std::string& name, const LineFit& line, const std::vector<const RateGroup*>& groups,
                    bool along_input) const;
  void refuse_corrected(const std::string& reason);
  std::string unit(const std::string& name) const;

  const ScoreInput& input_;
  const HysteresisSettings& settings_;
  const SignalInfo& in_info_;
  const SignalInfo& out_info_;
  Frame frame_;
  SweepSet set_;
  std::optional<LineFit> line_;  // width over twice the rate, unit of the output
  ScoreResult result_;
};

HysteresisScore::HysteresisScore(const ScoreInput& input)
    : input_{input},
      settings_{std::any_cast<const HysteresisSettings&>(input.settings)},
      in_info_{input.capture.signals()[input.signal("input")]},
      out_info_{input.capture.signals()[input.signal("output")]},
      frame_{pair_frame(input, "hysteresis", "")},
      set_{sort_sweeps(input)} {
  for (const auto& [name, spans] : by_step(input.spans)) frame_.step += (frame_.step.empty() ? "" : ", ") + name;
}

std::string HysteresisScore::unit(const std::string& name) const {
  for (const auto& kind : hysteresis_score().entry.findings)
    if (kind.name == name) return finding_unit(kind.unit, in_info_.unit, out_info_.unit);
  return "1";
}

ReadingRule HysteresisScore::rule_with(double settle) const {
  return {0.01 * settings_.window * (set_.high - set_.low), settle, in_info_.resolution, out_info_.resolution};
}

std::vector<Contribution> HysteresisScore::scaled(std::vector<Contribution> budget, double by) const {
  for (auto& line : budget) line.standard_uncertainty *= std::abs(by);
  return budget;
}

// Of a width in the output's unit: its noise and scatter, resolution, the gain of the sensor, and what a shift between
// the two signals' times makes of the rate.
std::vector<Contribution> HysteresisScore::width_budget(const LoopGap& gap) const {
  std::vector<Contribution> budget;
  for (const auto& [side, name] : {std::pair{&gap.rising, "rising"}, std::pair{&gap.falling, "falling"}})
    for (auto line : side->budget) {
      line.name += std::string{", "} + name + " branch";
      budget.push_back(line);
    }
  budget.push_back(rectangular("resolution", gap.half_width));
  budget.push_back(
      type_b("calibration of '" + out_info_.name + "'", out_info_.calibration.gain_uncertainty * std::abs(gap.width)));
  const auto shift =
      time_shift_budget(in_info_, out_info_, set_.sweeps.front().in_half_width, set_.sweeps.front().out_half_width);
  for (auto& line : scaled(shift, 2e-3 * gap.rate * gap.slope)) budget.push_back(line);
  return budget;
}

void HysteresisScore::add_apparent(const RateGroup& group) {
  auto frame = frame_;
  frame.conditions.emplace_back("rate", with_unit(group.rate, in_info_.unit + "/s"));
  const auto& gap = group.centre;
  if (!gap.known) {
    for (const auto* name : {"width_apparent", "width_apparent_input", "width_apparent_percent", "width_greatest",
                             "repeatability", "linearity"})
      result_.findings.push_back(frame.missing(name, unit(name),
                                               "no branch in each direction passes the centre long enough after its "
                                               "reversal; sweep wider, or set a shorter \"settle\""));
    return;
  }
  auto central = frame;
  central.conditions.emplace_back("position", with_unit(gap.position, in_info_.unit));
  central.conditions.emplace_back(
      "branches", std::to_string(gap.rising.count) + " rising, " + std::to_string(gap.falling.count) + " falling");
  const auto budget = width_budget(gap);
  result_.findings.push_back(central.measured("width_apparent", out_info_.unit, gap.width, budget));
  result_.findings.push_back(central.measured("width_apparent_input", in_info_.unit, gap.width / std::abs(gap.slope),
                                              scaled(budget, 1.0 / gap.slope)));
  result_.findings.push_back(central.measured("width_apparent_percent", "%", 100.0 * gap.width / set_.out_span,
                                              scaled(budget, 100.0 / set_.out_span)));
  add_greatest(group, frame);
  add_shape(group, frame);
}

// The greatest of several noisy widths lies too high; how much, is found by drawing their noise again about themselves.
void HysteresisScore::add_greatest(const RateGroup& group, const Frame& frame) {
  const LoopGap* greatest = nullptr;
  for (const auto& gap : group.gaps)
    if (gap.known && (!greatest || gap.width > greatest->width)) greatest = &gap;
  if (!greatest)
    return result_.findings.push_back(
        frame.missing("width_greatest", out_info_.unit, "no fixed position is passed in both directions"));
  std::mt19937_64 random{1};
  std::normal_distribution<double> normal;
  constexpr int draws = 2000;
  double bias = 0.0;
  for (int d = 0; d < draws; ++d) {
    double highest = -1e300;
    for (const auto& gap : group.gaps)
      if (gap.known) highest = std::max(highest, gap.width + gap.u * normal(random));
    bias += (highest - greatest->width) / draws;
  }
  auto told = frame;
  told.conditions.emplace_back("position", with_unit(greatest->position, in_info_.unit));
  auto budget = width_budget(*greatest);
  budget.push_back(type_b("choice of the greatest", 0.5 * bias));
  result_.findings.push_back(told.measured("width_greatest", out_info_.unit, greatest->width - bias, budget));
}

void HysteresisScore::add_shape(const RateGroup& group, const Frame& frame) {
  double range = 0.0, noise = 0.0, mean_noise = 0.0, half = 0.0;
  std::size_t readings = 1000;
  std::vector<double> x, y;
  for (const auto& gap : group.gaps) {
    if (!gap.known) continue;
    range = std::max(range, gap.range);
    readings = std::min(readings, std::max(gap.rising.count, gap.falling.count));
    noise = std::max(noise,
                     gap.rising.budget.front().standard_uncertainty * std::sqrt(static_cast<double>(gap.rising.count)));
    mean_noise = std::max(mean_noise, 0.5 * gap.u);
    half = std::max(half, gap.half_width);
    x.push_back(gap.position);
    y.push_back(gap.mean);
  }
  const double percent = 100.0 / set_.out_span;
  if (x.empty() || readings < 3)
    result_.findings.push_back(
        frame.missing("repeatability", "%", "needs three readings or more in one direction at every position"));
  else
    result_.findings.push_back(
        frame.measured("repeatability", "%", percent * range,
                       {type_a("noise", percent * std::sqrt(2.0) * noise, std::numeric_limits<double>::infinity()),
                        rectangular("resolution", percent * half)}));
  if (x.size() < 3)
    result_.findings.push_back(
        frame.missing("linearity", "%", "needs three positions or more that are passed in both directions"));
  else
    result_.findings.push_back(frame.measured(
        "linearity", "%", percent * independent_linearity(x, y),
        {type_a("noise and scatter", percent * mean_noise, std::numeric_limits<double>::infinity()),
         type_b("calibration of '" + in_info_.name + "'",
                percent * in_info_.calibration.standard_uncertainty * std::abs(group.centre.slope)),
         type_b("calibration of '" + out_info_.name + "'", percent * out_info_.calibration.standard_uncertainty)}));
}

Finding HysteresisScore::corrected(const std::string& name, const LineFit& line,
                                   const std::vector<const RateGroup*>& groups, bool along_input) const {
  const bool is_lag = name == "lag";
  const double scale = name == "width_corrected_percent" ? 100.0 / set_.out_span : is_lag ? 1e3 : 1.0;
  const auto& share = is_lag ? line.slope_share : line.intercept_share;
  std::vector<Contribution> budget;
  for (std::size_t i = 0; i < groups.size(); ++i) {
    const auto& gap = groups[i]->centre;
    const double by = scale * share[i] / (along_input ? gap.slope : 1.0);
    auto lines = gap.rising.budget;
    lines.insert(lines.end(), gap.falling.budget.begin(), gap.falling.budget.end());
    lines.push_back(rectangular("resolution", gap.half_width));
    for (auto& l : scaled(lines, by)) {
      l.name += " at " + with_unit(groups[i]->rate, in_info_.unit + "/s");
      budget.push_back(l);
    }
  }
  const double value = scale * (is_lag ? line.slope : line.intercept);
  // Rates that depart from the line by more than their own uncertainty widen it (the excess of chi square).
  const double excess = line.chi_square / static_cast<double>(groups.size() - 2) - 1.0;
  const double own = scale * (is_lag ? line.slope_unit : line.intercept_unit);
  if (excess > 0.0) budget.push_back(type_b("departure from the line", own * std::sqrt(excess)));
  // A shift between the two signals' times is common to all rates: it moves the lag and leaves the width alone.
  if (is_lag)
    for (auto& l :
         time_shift_budget(in_info_, out_info_, set_.sweeps.front().in_half_width, set_.sweeps.front().out_half_width))
      budget.push_back(l);
  else
    budget.push_back(type_b("calibration of '" + (along_input ? in_info_ : out_info_).name + "'",
                            (along_input ? in_info_ : out_info_).calibration.gain_uncertainty * std::abs(value)));
  auto frame = frame_;
  frame.conditions.emplace_back("rates", std::to_string(groups.size()) + ", from " +
                                             with_unit(groups.front()->rate, in_info_.unit + "/s") + " to " +
                                             with_unit(groups.back()->rate, in_info_.unit + "/s"));
  frame.conditions.emplace_back("position", with_unit(groups.front()->centre.position, in_info_.unit));
  return frame.measured(name, unit(name), value, budget);
}

void HysteresisScore::refuse_corrected(const std::string& reason) {
  for (const auto* name : {"width_corrected", "width_corrected_input", "width_corrected_percent", "lag"})
    result_.findings.push_back(frame_.missing(name, unit(name), reason));
}

std::vector<const RateGroup*> HysteresisScore::known_groups() const {
  std::vector<const RateGroup*> groups;
  for (const auto& group : set_.groups)
    if (group.centre.known) groups.push_back(&group);
  return groups;
}

LineFit HysteresisScore::line_over_rate(const std::vector<const RateGroup*>& groups, bool along_input) const {
  std::vector<double> rate, width, u;
  for (const auto* group : groups) {
    const auto& gap = group->centre;
    const double scale = along_input ? 1.0 / std::abs(gap.slope) : 1.0;
    rate.push_back(2.0 * gap.rate * std::abs(gap.slope) * scale);
    width.push_back(gap.width * scale);
    u.push_back(std::max(gap.u, 1e-9 * set_.out_span) * scale);
  }
  return fit_line(rate, width, u);
}

// width = gap + 2 rate lag: the line over twice the rate.
void HysteresisScore::add_corrected() {
  const auto groups = known_groups();
  if (groups.size() < 3)
    return refuse_corrected("needs sweeps at three rates or more; found " + std::to_string(groups.size()) +
                            ": the width at one rate holds lag and hysteresis together");
  if (groups.back()->rate < distinct_rates * groups.front()->rate)
    return refuse_corrected("the rates are too alike: the fastest is " +
                            shown(groups.back()->rate / groups.front()->rate, 3) + " times the slowest, 1.5 is needed");
  line_ = line_over_rate(groups, false);
  const double chance = chance_of(line_->chi_square, static_cast<double>(groups.size()) - 2.0);
  // Departures below a thousandth of the span are no ground for a refusal, however little the noise.
  double departure = 0.0;
  for (const auto* group : groups) {
    const auto& gap = group->centre;
    const double line = line_->intercept + line_->slope * 2.0 * gap.rate * std::abs(gap.slope);
    departure = std::max(departure, std::abs(gap.width - line));
  }
  if (chance < least_chance && departure > 1e-3 * set_.out_span)
    return refuse_corrected("the width does not grow in a straight line with the rate (departure " +
                            with_unit(departure, out_info_.unit) +
                            "): lag alone does not explain it; only the widths at each rate stand");
  const auto along = line_over_rate(groups, true);
  result_.findings.push_back(corrected("width_corrected", *line_, groups, false));
  result_.findings.push_back(corrected("width_corrected_input", along, groups, true));
  result_.findings.push_back(corrected("width_corrected_percent", *line_, groups, false));
  result_.findings.push_back(corrected("lag", *line_, groups, false));
  refuse_below_resolution(result_.findings.back(), input_.capture.timing(), 0.0);
}

// Reads every group at the centre and the fixed positions, `settle` s after reversals and later.
void HysteresisScore::read_gaps(double settle) {
  const double middle = 0.5 * (set_.low + set_.high), centre = settings_.centre.value_or(middle);
  const double reach = 0.5 * 0.01 * settings_.reach * (set_.high - set_.low);
  // The output leaves the flank of the gap only after the input has crossed it: gap / rate more. The slowest sweep
  // shows a gap that is no smaller than the true one.
  const auto slowest = read_gap(set_.groups.front(), centre, rule_with(settle));
  const double gap = slowest.known ? std::abs(slowest.width / slowest.slope) : 0.0;
  for (auto& group : set_.groups) {
    const auto rule = rule_with(settle + gap / group.branches.front().rate);
    group.centre = read_gap(group, centre, rule);
    // The local ratio does not depend on the rate, and the slowest sweep tells it best.
    const auto& steady = set_.groups.front().centre;
    if (group.centre.known && steady.known) group.centre.slope = steady.slope;
    group.gaps.clear();
    for (int k = 0; k < settings_.positions; ++k)
      group.gaps.push_back(read_gap(group, middle - reach + 2.0 * reach * k / (settings_.positions - 1), rule));
    group.rate = group.centre.known ? group.centre.rate : group.branches.front().rate;
  }
}

ScoreResult HysteresisScore::run() {
  if (set_.groups.empty()) {
    const bool tried = !input_.spans.empty();
    if (set_.trouble.empty())
      set_.trouble = tried ? "the input does not sweep to and fro in these steps" : "no complete step to score";
    for (const auto& kind : hysteresis_score().entry.findings)
      result_.findings.push_back(frame_.missing(kind.name, unit(kind.name), set_.trouble, tried));
    return result_;
  }
  if (set_.left_out > 0)
    frame_.conditions.emplace_back("left_out", std::to_string(set_.left_out) + " spans: " + set_.trouble);
  const double settle = seconds(settings_.settle);
  read_gaps(settle);
  if (const auto groups = known_groups(); groups.size() >= 3) {  // now the lag is known, was it waited for?
    const double wanted = lags_to_settle * line_over_rate(groups, false).slope;
    if (wanted > settle) read_gaps(std::min(wanted, longest_settle));
  }
  for (const auto& group : set_.groups) add_apparent(group);
  add_corrected();
  result_.figures = loop_figures(set_, line_ ? &*line_ : nullptr, in_info_, out_info_);
  return result_;
}

}  // namespace

ScoreKind hysteresis_score() {
  ScoreKind score;
  score.entry.settings = kind("hysteresis", hysteresis_fields);
  score.entry.roles = {{"input", "what is swept to and fro, such as the bench's angle sensor at the hand wheel"},
                       {"output", "what follows, such as the bench's angle sensor at the road wheel"}};
  score.entry.findings = {
      {"width_apparent", "output", "gap between the two branches at the centre, at equal input; one for each rate"},
      {"width_apparent_input", "input", "the same gap read along the input; one for each rate"},
      {"width_apparent_percent", "%", "the same of the output's span; one for each rate"},
      {"width_greatest", "output", "the largest gap over the fixed positions, and where; one for each rate"},
      {"width_corrected", "output",
       "gap at the centre at vanishing rate: what pure lag explains is taken out; needs three rates"},
      {"width_corrected_input", "input", "the same read along the input"},
      {"width_corrected_percent", "%", "the same of the output's span"},
      {"lag", "ms", "the lag that explains how the gap grows with the rate"},
      {"repeatability", "%",
       "largest range of readings at one position in one direction, of the output's span; one for each rate"},
      {"linearity", "%",
       "largest departure of the mean of both branches from the best straight line, of the output's span; one for each "
       "rate"}};
  score.run = [](const ScoreInput& input) { return HysteresisScore{input}.run(); };
  return score;
}

}  // namespace trackrod
