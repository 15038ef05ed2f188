// The score `hysteresis`: width of the loop that output draws over input in sweeps to and fro.
// docs/scores/hysteresis.md.

#include <algorithm>
#include <cmath>

#include "harness/base/units.hpp"
#include "harness/score/loop_figures.hpp"
#include "harness/score/rate_correction.hpp"
#include "harness/score/scores.hpp"
#include "harness/score/scoring.hpp"
#include "harness/score/width_findings.hpp"

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

constexpr double lags_to_settle = 4.0;  // after a reversal; the lag holds the dead time and twice the slowness
constexpr double longest_settle = 5.0;  // s

class HysteresisScore {
 public:
  explicit HysteresisScore(const ScoreInput& input);
  ScoreResult run();

 private:
  ReadingRule rule_with(double settle) const;
  void read_gaps(double settle, double gap);
  void read_settled_gaps();

  const ScoreInput& input_;
  const HysteresisSettings& settings_;
  SweepSet set_;
  LoopContext context_;
};

HysteresisScore::HysteresisScore(const ScoreInput& input)
    : input_{input},
      settings_{std::any_cast<const HysteresisSettings&>(input.settings)},
      set_{sort_sweeps(input)},
      context_{input.capture.signals()[input.signal("input")], input.capture.signals()[input.signal("output")], set_,
               pair_frame(input, "hysteresis", step_names(input.spans))} {}

ReadingRule HysteresisScore::rule_with(double settle) const {
  return {0.01 * settings_.window * (set_.high - set_.low), settle, context_.input.resolution,
          context_.output.resolution};
}

// Reads every group at the centre and the fixed positions, `settle` s after reversals and later; `gap`: of the loop
// without lag, input unit.
void HysteresisScore::read_gaps(double settle, double gap) {
  const double middle = 0.5 * (set_.low + set_.high), reach = 0.5 * 0.01 * settings_.reach * (set_.high - set_.low);
  for (auto& group : set_.groups) {
    // The output leaves the flank of the gap only after the input has crossed it: gap / rate more.
    const auto rule = rule_with(settle + gap / group.branches.front().rate);
    group.centre = read_gap(group, settings_.centre.value_or(middle), rule);
    // The local ratio does not depend on the rate, and the slowest sweep tells it best.
    const auto& steady = set_.groups.front().centre;
    if (group.centre.known && steady.known) group.centre.slope = steady.slope;
    group.gaps.clear();
    for (int k = 0; k < settings_.positions; ++k)
      group.gaps.push_back(read_gap(group, middle - reach + 2.0 * reach * k / (settings_.positions - 1), rule));
    group.rate = group.centre.known ? group.centre.rate : group.branches.front().rate;
  }
  lend_repeatability(set_.groups);
}

// First with what the slowest sweep shows as a gap, which is no smaller than the true one. Then the lag and the gap are
// known, and were they waited for?
void HysteresisScore::read_settled_gaps() {
  const double settle = seconds(settings_.settle);
  const double centre = settings_.centre.value_or(0.5 * (set_.low + set_.high));
  const auto slowest = read_gap(set_.groups.front(), centre, rule_with(settle));
  read_gaps(settle, slowest.known ? std::abs(slowest.width / slowest.slope) : 0.0);
  const auto groups = known_groups(set_);
  if (groups.size() < 3) return;
  const auto line = line_over_rate(set_, groups, true);
  const double wanted = std::clamp(lags_to_settle * line.slope, settle, std::max(settle, longest_settle));
  read_gaps(wanted, std::max(0.0, line.intercept));
}

ScoreResult HysteresisScore::run() {
  ScoreResult result;
  if (set_.groups.empty()) {
    const bool tried = !input_.spans.empty();
    if (set_.trouble.empty())
      set_.trouble = tried ? "the input does not sweep to and fro in these steps" : "no complete step to score";
    for (const auto& kind : hysteresis_score().entry.findings)
      result.findings.push_back(context_.frame.missing(kind.name, context_.unit(kind.name), set_.trouble, tried));
    return result;
  }
  if (set_.left_out > 0)
    context_.frame.conditions.emplace_back("left_out", std::to_string(set_.left_out) + " spans: " + set_.trouble);
  read_settled_gaps();
  for (const auto& group : set_.groups)
    for (auto& finding : width_findings(context_, group)) result.findings.push_back(std::move(finding));
  auto correction = correct_for_rate(context_, input_.capture.timing());
  for (auto& finding : correction.findings) result.findings.push_back(std::move(finding));
  result.figures = loop_figures(set_, correction.line ? &*correction.line : nullptr, result.findings, context_.input,
                                context_.output);
  return result;
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
