// The score `hysteresis`: width of the loop that output draws over input in sweeps to and fro.
// docs/scores/hysteresis.md.

#include <algorithm>
#include <cmath>
#include <random>

#include "harness/base/units.hpp"
#include "harness/score/figure.hpp"
#include "harness/score/findings.hpp"
#include "harness/score/line_fit.hpp"
#include "harness/score/loop.hpp"
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
               "time after a reversal whose samples are left out, five times the unit's lag or more; 100 ms when not "
               "given");
  return fields;
}

constexpr double same_rate = 1.2;       // rates within this factor belong together
constexpr double distinct_rates = 1.5;  // fastest over slowest, at least, for a line over the rate
constexpr double least_chance = 0.01;   // a line that fits worse than this is refused

// What all sweeps at one rate say at one position of the input.
struct Gap {
  double position{0.0};      // input unit
  Repeated rising, falling;  // output, unit of the output
  double width{0.0};         // falling less rising, positive when the output lags
  double mean{0.0};          // of both branches
  double slope{0.0};         // output unit per input unit
  double rate{0.0};          // input unit/s
  double half_width{0.0};    // of resolution, of the width
  double u{0.0};             // standard uncertainty of the width from noise, scatter and resolution
  double range{0.0};         // largest less smallest reading in one direction, the larger of both
  bool known{false};
};

struct RateGroup {
  std::vector<Branch> branches;
  double rate{0.0};  // input unit/s
  Gap centre;
  std::vector<Gap> gaps;  // at the fixed positions
};

class HysteresisScore {
 public:
  explicit HysteresisScore(const ScoreInput& input);
  ScoreResult run();

 private:
  void read_groups();
  Gap read_gap(const RateGroup& group, double position, double settle) const;
  std::vector<Contribution> width_budget(const Gap& gap) const;
  std::vector<Contribution> scaled(std::vector<Contribution> budget, double by) const;
  void add_apparent(const RateGroup& group);
  void add_greatest(const RateGroup& group, const Frame& frame);
  void add_shape(const RateGroup& group, const Frame& frame);
  void add_corrected();
  Finding corrected(const std::string& name, const LineFit& line, const std::vector<const RateGroup*>& groups,
                    bool along_input) const;
  void refuse_corrected(const std::string& reason);
  void draw();
  std::string unit(const std::string& name) const;

  const ScoreInput& input_;
  const HysteresisSettings& settings_;
  const SignalInfo& in_info_;
  const SignalInfo& out_info_;
  Frame frame_;
  std::vector<Sweep> sweeps_;      // not moved once branches point into it
  std::vector<RateGroup> groups_;  // slow first
  ReadingRule rule_;
  double low_{0.0}, high_{0.0};  // of the input
  double span_{0.0};             // of the output
  std::optional<LineFit> line_;  // width over twice the rate, unit of the output
  std::string trouble_;
  ScoreResult result_;
};

HysteresisScore::HysteresisScore(const ScoreInput& input)
    : input_{input},
      settings_{std::any_cast<const HysteresisSettings&>(input.settings)},
      in_info_{input.capture.signals()[input.signal("input")]},
      out_info_{input.capture.signals()[input.signal("output")]},
      frame_{pair_frame(input, "hysteresis", "")} {
  for (const auto& [name, spans] : by_step(input.spans)) frame_.step += (frame_.step.empty() ? "" : ", ") + name;
}

std::string HysteresisScore::unit(const std::string& name) const {
  for (const auto& kind : hysteresis_score().entry.findings)
    if (kind.name == name) return finding_unit(kind.unit, in_info_.unit, out_info_.unit);
  return "1";
}

// Cuts all spans into branches and puts those of one rate together.
void HysteresisScore::read_groups() {
  std::size_t useless = 0;
  for (const auto& span : input_.spans) {
    auto sweep = read_sweep(input_, span);
    if (sweep.trouble.empty())
      sweeps_.push_back(std::move(sweep));
    else if (++useless; trouble_.empty())
      trouble_ = sweep.trouble;
  }
  if (3 * useless > input_.spans.size()) return sweeps_.clear();
  if (useless > 0) frame_.conditions.emplace_back("left_out", std::to_string(useless) + " spans: " + trouble_);
  low_ = 1e300, high_ = -1e300;
  double out_low = 1e300, out_high = -1e300;
  std::vector<Branch> all;
  for (const auto& sweep : sweeps_) {
    const auto [x0, x1] = std::minmax_element(sweep.x.begin(), sweep.x.end());
    const auto [y0, y1] = std::minmax_element(sweep.y.begin(), sweep.y.end());
    low_ = std::min(low_, *x0), high_ = std::max(high_, *x1);
    out_low = std::min(out_low, *y0), out_high = std::max(out_high, *y1);
    for (const auto& branch : branches_of(sweep)) all.push_back(branch);
  }
  span_ = out_high - out_low;
  rule_ = {0.01 * settings_.window * (high_ - low_), seconds(settings_.settle), in_info_.resolution,
           out_info_.resolution};
  std::sort(all.begin(), all.end(), [](const Branch& a, const Branch& b) { return a.rate < b.rate; });
  for (const auto& branch : all) {
    if (groups_.empty() || branch.rate > same_rate * groups_.back().branches.front().rate) groups_.emplace_back();
    groups_.back().branches.push_back(branch);
  }
}

Gap HysteresisScore::read_gap(const RateGroup& group, double position, double settle) const {
  Gap gap;
  gap.position = position;
  auto rule = rule_;
  rule.settle = settle;
  std::vector<double> up, up_noise, down, down_noise;
  for (const auto& branch : group.branches) {
    const auto r = read_branch(branch, position, rule);
    if (!r) continue;
    (branch.rising ? up : down).push_back(r->output);
    (branch.rising ? up_noise : down_noise).push_back(r->noise);
    gap.slope += r->slope;
    gap.rate += r->rate;
    gap.half_width = std::max(gap.half_width, r->half_width);
  }
  const auto count = static_cast<double>(up.size() + down.size());
  gap.known = !up.empty() && !down.empty();
  if (!gap.known) return gap;
  gap.slope /= count, gap.rate /= count;
  gap.half_width *= std::sqrt(2.0);
  gap.rising = repeated(up, up_noise);
  gap.falling = repeated(down, down_noise);
  gap.width = std::copysign(1.0, gap.slope) * (gap.falling.mean - gap.rising.mean);
  gap.mean = 0.5 * (gap.falling.mean + gap.rising.mean);
  gap.range = std::max(gap.rising.greatest - gap.rising.least, gap.falling.greatest - gap.falling.least);
  auto budget = gap.rising.budget;
  budget.insert(budget.end(), gap.falling.budget.begin(), gap.falling.budget.end());
  budget.push_back(rectangular("resolution", gap.half_width));
  gap.u = combine(gap.width, budget).standard_uncertainty;
  return gap;
}

std::vector<Contribution> HysteresisScore::scaled(std::vector<Contribution> budget, double by) const {
  for (auto& line : budget) line.standard_uncertainty *= std::abs(by);
  return budget;
}

// Of a width in the output's unit: its noise and scatter, resolution, the gain of the sensor, and what a shift between
// the two signals' times makes of the rate.
std::vector<Contribution> HysteresisScore::width_budget(const Gap& gap) const {
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
      time_shift_budget(in_info_, out_info_, sweeps_.front().in_half_width, sweeps_.front().out_half_width);
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
  result_.findings.push_back(
      central.measured("width_apparent_percent", "%", 100.0 * gap.width / span_, scaled(budget, 100.0 / span_)));
  add_greatest(group, frame);
  add_shape(group, frame);
}

// The greatest of several noisy widths lies too high; how much, is found by drawing their noise again about themselves.
void HysteresisScore::add_greatest(const RateGroup& group, const Frame& frame) {
  const Gap* greatest = nullptr;
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
  const double percent = 100.0 / span_;
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
  const double scale = name == "width_corrected_percent" ? 100.0 / span_ : is_lag ? 1e3 : 1.0;
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
  // A shift between the two signals' times is common to all rates: it moves the lag and leaves the width alone.
  if (is_lag)
    for (auto& l :
         time_shift_budget(in_info_, out_info_, sweeps_.front().in_half_width, sweeps_.front().out_half_width))
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

// width = g + 2 rate lag: the line over twice the rate.
void HysteresisScore::add_corrected() {
  std::vector<const RateGroup*> groups;
  for (const auto& group : groups_)
    if (group.centre.known) groups.push_back(&group);
  if (groups.size() < 3)
    return refuse_corrected("needs sweeps at three rates or more; found " + std::to_string(groups.size()) +
                            ": the width at one rate holds lag and hysteresis together");
  if (groups.back()->rate < distinct_rates * groups.front()->rate)
    return refuse_corrected("the rates are too alike: the fastest is " +
                            shown(groups.back()->rate / groups.front()->rate, 3) + " times the slowest, 1.5 is needed");
  std::vector<double> rate, width, u, in_rate, in_width, in_u;
  for (const auto* group : groups) {
    const auto& gap = group->centre;
    const double slope = std::abs(gap.slope), least = 1e-9 * span_;
    rate.push_back(2.0 * gap.rate * slope);
    width.push_back(gap.width);
    u.push_back(std::max(gap.u, least));
    in_rate.push_back(2.0 * gap.rate);
    in_width.push_back(gap.width / slope);
    in_u.push_back(u.back() / slope);
  }
  line_ = fit_line(rate, width, u);
  const double chance = chance_of(line_->chi_square, static_cast<double>(groups.size()) - 2.0);
  // Departures below a thousandth of the span are no ground for a refusal, however little the noise.
  double departure = 0.0;
  for (std::size_t i = 0; i < rate.size(); ++i)
    departure = std::max(departure, std::abs(width[i] - line_->intercept - line_->slope * rate[i]));
  if (chance < least_chance && departure > 1e-3 * span_)
    return refuse_corrected("the width does not grow in a straight line with the rate (departure " +
                            with_unit(departure, out_info_.unit) +
                            "): lag alone does not explain it; only the widths at each rate stand");
  const auto along = fit_line(in_rate, in_width, in_u);
  result_.findings.push_back(corrected("width_corrected", *line_, groups, false));
  result_.findings.push_back(corrected("width_corrected_input", along, groups, true));
  result_.findings.push_back(corrected("width_corrected_percent", *line_, groups, false));
  result_.findings.push_back(corrected("lag", *line_, groups, false));
  refuse_below_resolution(result_.findings.back(), input_.capture.timing(), 0.0);
}

void HysteresisScore::draw() {
  Figure loops{"Output over input at each rate",
               in_info_.name + " (" + in_info_.unit + ")",
               out_info_.name + " (" + out_info_.unit + ")",
               {},
               {}};
  Figure growth{"Width at the centre over twice the output's rate",
                "2 x rate of " + out_info_.name + " (" + out_info_.unit + "/s)",
                "width (" + out_info_.unit + ")",
                {},
                {}};
  Curve widths;
  widths.label = "apparent width";
  widths.style = Curve::Style::points;
  for (const auto& group : groups_) {
    std::vector<double> x, y;
    const Sweep* last = nullptr;
    for (const auto& branch : group.branches) {
      if (last && branch.sweep != last) break;  // one sweep is enough to see
      last = branch.sweep;
      x.insert(x.end(), last->x.begin() + static_cast<std::ptrdiff_t>(branch.begin),
               last->x.begin() + static_cast<std::ptrdiff_t>(branch.end));
      y.insert(y.end(), last->y.begin() + static_cast<std::ptrdiff_t>(branch.begin),
               last->y.begin() + static_cast<std::ptrdiff_t>(branch.end));
      x.push_back(x.back());
      y.push_back(std::numeric_limits<double>::quiet_NaN());
    }
    loops.curves.push_back(thinned(with_unit(group.rate, in_info_.unit + "/s"), x, y));
    if (!group.centre.known) continue;
    widths.x.push_back(2.0 * group.centre.rate * std::abs(group.centre.slope));
    widths.y.push_back(group.centre.width);
  }
  if (!groups_.empty() && groups_.front().centre.known)
    loops.marks.push_back({"centre", 'x', groups_.front().centre.position, 0.0});
  result_.figures.push_back(std::move(loops));
  if (widths.x.size() < 2) return;
  growth.curves.push_back(widths);
  if (line_) {
    const double far = *std::max_element(widths.x.begin(), widths.x.end());
    Curve line;
    line.label = "fitted line";
    line.x = {0.0, far};
    line.y = {line_->intercept, line_->intercept + line_->slope * far};
    growth.curves.push_back(line);
  }
  result_.figures.push_back(std::move(growth));
}

ScoreResult HysteresisScore::run() {
  read_groups();
  if (groups_.empty()) {
    const bool tried = !input_.spans.empty();
    if (trouble_.empty())
      trouble_ = tried ? "the input does not sweep to and fro in these steps" : "no complete step to score";
    for (const auto& kind : hysteresis_score().entry.findings)
      result_.findings.push_back(frame_.missing(kind.name, unit(kind.name), trouble_, tried));
    return result_;
  }
  const double middle = 0.5 * (low_ + high_), centre = settings_.centre.value_or(middle);
  for (auto& group : groups_) {
    // The output leaves the flank of the gap only after the input has crossed it: g / rate more.
    const auto first = read_gap(group, centre, rule_.settle);
    const double crossing = first.known ? std::abs(first.width / first.slope) / first.rate : 0.0;
    group.centre = read_gap(group, centre, rule_.settle + crossing);
    const double reach = 0.5 * 0.01 * settings_.reach * (high_ - low_);
    for (int k = 0; k < settings_.positions; ++k)
      group.gaps.push_back(
          read_gap(group, middle - reach + 2.0 * reach * k / (settings_.positions - 1), rule_.settle + crossing));
    group.rate = group.centre.known ? group.centre.rate : group.branches.front().rate;
    add_apparent(group);
  }
  add_corrected();
  draw();
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
