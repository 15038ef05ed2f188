// The score `supply`: what a unit bears of its supply, and how it comes back. docs/scores/supply.md.

#include <algorithm>
#include <cmath>

#include "harness/score/budget.hpp"
#include "harness/score/changeover.hpp"
#include "harness/score/drop_outs.hpp"
#include "harness/score/findings.hpp"
#include "harness/score/scores.hpp"
#include "harness/score/scoring.hpp"
#include "harness/score/supply_figures.hpp"
#include "harness/score/supply_limits.hpp"

namespace trackrod {
namespace {

struct SupplySettings {
  double below{0.0};
  std::vector<double> working;
  Duration silent{from_seconds(0.1)};
};

const Fields<SupplySettings>& supply_fields() {
  static const auto fields =
      Fields<SupplySettings>{"score", "What a unit bears of its supply: drop-outs, low voltage, reset and recovery"}
          .need("below", &SupplySettings::below, number(-1e6, 1e6),
                "a drop-out is where the voltage is below: a number in the input's unit")
          .need(
              "working", &SupplySettings::working, list(number(-1e9, 1e9), 2, 2),
              "lower and upper bound of the output, in its unit, within which the unit works; \"no value\" is outside")
          .may("silent", &SupplySettings::silent, duration(from_seconds(0.001), from_seconds(60.0)),
               "without a sample of the output for longer, the unit does not work; 100 ms when not given");
  return fields;
}

constexpr double ms = 1e3;

class Supply {
 public:
  explicit Supply(const ScoreInput& input);
  ScoreResult run() const;

 private:
  bool with_feed() const { return input_.signal("feed") < input_.capture.signals().size(); }
  Finding missing(const std::string& name, const std::string& why) const;
  Finding mean_time(const std::string& name, const std::vector<double>& times, const std::vector<double>& half_widths,
                    const std::string& why) const;
  Finding voltage(const std::string& name, const std::vector<double>& volts, const std::vector<double>& half_widths,
                  const std::string& why) const;
  Finding functional_class() const;
  void add_changeovers(ScoreResult& result) const;

  const ScoreInput& input_;
  const SupplySettings& settings_;
  const SignalInfo &in_, &out_;
  Frame frame_;
  std::vector<DropOut> drops_;
  std::vector<Span> spans_;  // of each drop-out
  std::string trouble_;
  Changeovers changeovers_;
};

Supply::Supply(const ScoreInput& input)
    : input_{input},
      settings_{std::any_cast<const SupplySettings&>(input.settings)},
      in_{input.capture.signals()[input.signal("input")]},
      out_{input.capture.signals()[input.signal("output")]},
      frame_{pair_frame(input, "supply", step_names(input.spans))} {
  const DropOutRule rule{settings_.below, settings_.working[0], settings_.working[1], settings_.silent};
  for (const auto& span : joined(input.spans, input.capture.timing().tick)) {
    auto of_span = drop_outs_of(input, span, rule);
    if (trouble_.empty()) trouble_ = of_span.trouble;
    drops_.insert(drops_.end(), of_span.found.begin(), of_span.found.end());
    spans_.resize(drops_.size(), span);
    if (!with_feed()) continue;
    auto changeovers = changeovers_of(input, span, rule);
    if (changeovers_.trouble.empty()) changeovers_.trouble = changeovers.trouble;
    changeovers_.noise = std::max(changeovers_.noise, changeovers.noise);
    std::move(changeovers.found.begin(), changeovers.found.end(), std::back_inserter(changeovers_.found));
  }
  const auto lost = std::count_if(drops_.begin(), drops_.end(), [](const DropOut& d) { return d.lost; });
  frame_.conditions.emplace_back("drop_outs", std::to_string(drops_.size()));
  frame_.conditions.emplace_back("lost_in", std::to_string(lost));
}

Finding Supply::missing(const std::string& name, const std::string& why) const {
  for (const auto& kind : supply_score().entry.findings)
    if (kind.name == name)
      return frame_.missing(name, finding_unit(kind.unit, in_.unit, out_.unit), why, !input_.spans.empty());
  return frame_.missing(name, "1", why, !input_.spans.empty());
}

Finding Supply::mean_time(const std::string& name, const std::vector<double>& times,
                          const std::vector<double>& half_widths, const std::string& why) const {
  if (times.empty()) return missing(name, why);
  const auto found = repeated(times, std::vector<double>(times.size(), 0.0));
  auto budget = found.budget;
  // Each one lies between two samples. Drop-outs on the grid of a plan fall alike between them, so that the mean of
  // several is known no better.
  double open = 0.0;
  for (const double h : half_widths) open = std::max(open, h);
  budget.push_back(rectangular("samples of both signals", ms * open));
  for (auto& line : time_shift_budget(in_, out_, 0.0, 0.0)) budget.push_back(line);
  auto frame = frame_;
  frame.conditions.emplace_back("greatest", with_unit(ms * found.greatest, "ms"));
  for (auto& line : budget)
    if (line.type == 'A') line.standard_uncertainty *= ms;
  return frame.measured(name, "ms", ms * found.mean, std::move(budget));
}

Finding Supply::voltage(const std::string& name, const std::vector<double>& volts,
                        const std::vector<double>& half_widths, const std::string& why) const {
  if (volts.empty()) return missing(name, why);
  const auto found = repeated(volts, std::vector<double>(volts.size(), 0.0));
  auto budget = found.budget;
  double open = 0.0;
  for (const double h : half_widths) open = std::max(open, h);
  budget.push_back(rectangular("change of the voltage between samples", open));
  budget.push_back(type_b("calibration of '" + in_.name + "'", in_.calibration.standard_uncertainty));
  budget.push_back(rectangular("resolution", 0.5 * in_.resolution));
  auto frame = frame_;
  frame.conditions.emplace_back("least", with_unit(found.least, in_.unit));
  frame.conditions.emplace_back("greatest", with_unit(found.greatest, in_.unit));
  return frame.measured(name, in_.unit, found.mean, std::move(budget));
}

// ISO 16750-1 tells functional status classes: A works throughout, C comes back by itself, D and E do not (from
// memory).
Finding Supply::functional_class() const {
  bool lost = false, stayed_away = false;
  for (const auto& d : drops_) {
    lost = lost || d.lost;
    stayed_away = stayed_away || (d.lost && !d.back_at);
  }
  const double level = stayed_away ? 4.0 : lost ? 3.0 : 1.0;
  auto f = frame_.exact("functional_class", "1", level);
  f.conditions.emplace_back("class", stayed_away ? "D or E: did not come back by itself"
                                     : lost
                                         ? "C: stopped, and came back by itself"
                                         : "A or B: went on throughout; whether within tolerance, other findings say");
  return f;
}

void Supply::add_changeovers(ScoreResult& result) const {
  const auto& found = changeovers_.found;
  if (found.empty()) {
    const std::string why = !with_feed()                   ? "no signal plays the role 'feed'"
                            : changeovers_.trouble.empty() ? "no complete step to score"
                                                           : changeovers_.trouble;
    for (const auto* name : {"changeover_time", "changeover_dip", "changeover_lost"})
      result.findings.push_back(missing(name, why));
    return;
  }
  auto frame = frame_;
  frame.signals.push_back(input_.capture.signals()[input_.signal("feed")].name);
  frame.conditions.emplace_back("changeovers", std::to_string(found.size()));
  TimeBounds longest;
  std::vector<DepartureCourse> depths;
  double highest = 0.0;
  for (const auto& c : found) highest = std::max(highest, c.highest);
  for (const auto& c : found) {
    longest = {std::max(longest.low, c.below.low), std::max(longest.high, c.below.high)};
    depths.push_back(c.depth);
    for (auto& v : depths.back().v) v += highest - c.highest;
  }
  result.findings.push_back(bounded_time(frame, "changeover_time", longest, {}));
  if (const auto dip = greatest_departure(depths, changeovers_.noise)) {
    auto told = frame;
    told.conditions.emplace_back("after_the_drop", with_unit(ms * dip->when, "ms"));
    result.findings.push_back(
        told.measured("changeover_dip", in_.unit, highest - dip->value,
                      {type_b("noise", dip->noise), type_b("choice of the lowest", 0.5 * std::abs(dip->bias)),
                       rectangular("smoothing", dip->smoothing),
                       type_b("calibration of '" + in_.name + "'", in_.calibration.standard_uncertainty),
                       rectangular("resolution", 0.5 * in_.resolution)}));
  } else {
    result.findings.push_back(missing("changeover_dip", "too few samples at the connector while the feed was away"));
  }
  const auto lost = std::count_if(found.begin(), found.end(), [](const Changeover& c) { return c.lost; });
  result.findings.push_back(frame.exact("changeover_lost", "1", static_cast<double>(lost)));
}

ScoreResult Supply::run() const {
  ScoreResult result;
  if (drops_.empty()) {
    const auto why = trouble_.empty() ? "no complete step to score" : trouble_;
    for (const auto& kind : supply_score().entry.findings)
      if (!with_feed() || !kind.name.starts_with("changeover")) result.findings.push_back(missing(kind.name, why));
    if (with_feed()) add_changeovers(result);
    return result;
  }
  std::vector<double> reset, reset_open, recovery, recovery_open, stops, stops_open, works, works_open;
  for (const auto& d : drops_) {
    if (!d.lost) continue;
    reset.push_back(d.lost_at.t - d.begin.t);
    reset_open.push_back(d.lost_at.half_width + d.begin.half_width);
    stops.push_back(d.volts_lost);
    stops_open.push_back(std::abs(d.slope_lost) * (d.lost_at.half_width + d.stamp_half_width));
    if (!d.back_at) continue;
    recovery.push_back(d.back_at->t - d.end.t);
    recovery_open.push_back(d.back_at->half_width + d.end.half_width);
    works.push_back(d.volts_back);
    works_open.push_back(std::abs(d.slope_back) * (d.back_at->half_width + d.stamp_half_width));
  }
  const std::string never = "the unit worked throughout", away = reset.empty() ? never : "the unit did not come back";
  result.findings.push_back(ridden_through(drops_, frame_));
  result.findings.push_back(lowest_survived(drops_, in_, frame_));
  result.findings.push_back(voltage("stops_at", stops, stops_open, never));
  result.findings.push_back(voltage("works_from", works, works_open, away));
  result.findings.push_back(mean_time("reset_time", reset, reset_open, never));
  result.findings.push_back(mean_time("recovery_time", recovery, recovery_open, away));
  result.findings.push_back(functional_class());
  add_changeovers(result);
  result.figures = {drop_out_time_line(input_, drops_, spans_, result.findings),
                    drop_outs_by_outcome(drops_, in_, result.findings)};
  return result;
}

}  // namespace

ScoreKind supply_score() {
  ScoreKind score;
  score.entry.settings = kind("supply", supply_fields);
  score.entry.roles = {{"input", "the voltage, measured at the unit's connector"},
                       {"output", "what shows that the unit works, such as its state"},
                       {"feed", "of a unit with two feeds, the one that drops; 'input' is then what the unit lives on",
                        ScoreRole::Need::optional}};
  score.entry.findings = {
      {"ridden_through", "ms", "longest drop-out during which and after which the unit works on"},
      {"lowest_survived", "input", "lowest voltage of a drop-out that it so survives; of drop-outs alike in length"},
      {"stops_at", "input", "voltage at which the unit stops working; of slow ramps"},
      {"works_from", "input", "voltage at which it works again; of slow ramps"},
      {"reset_time", "ms", "from the beginning of a drop-out until the unit no longer works"},
      {"recovery_time", "ms", "from the end of a drop-out until it works again for good"},
      {"functional_class", "1", "1: worked throughout (A, B), 3: came back by itself (C), 4: did not (D, E)"},
      {"changeover_time", "ms", "how long the voltage is below while 'feed' is away: the longest of all changeovers"},
      {"changeover_dip", "input", "lowest voltage meanwhile"},
      {"changeover_lost", "1", "number of changeovers in which the unit stopped working"}};
  score.run = [](const ScoreInput& input) { return Supply{input}.run(); };
  return score;
}

}  // namespace trackrod
