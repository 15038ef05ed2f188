// The score `step`: how the output answers when the input goes from one level to another. docs/scores/step.md.

#include <algorithm>
#include <cmath>
#include <optional>

#include "harness/score/figure.hpp"
#include "harness/score/findings.hpp"
#include "harness/score/scores.hpp"
#include "harness/score/scoring.hpp"
#include "harness/score/step_cycle.hpp"
#include "harness/score/step_figure.hpp"

namespace trackrod {
namespace {

const Fields<StepSettings>& step_fields() {
  static const auto fields =
      Fields<StepSettings>{
          "score", "Answer of the output to a step of the input: delays, rise, overshoot, settling, steady error"}
          .may("band", &StepSettings::band, quantity("%", 0.1, 50.0),
               "settled means: stays within this much of the change around the new level; 2 % when not given")
          .may("quiet", &StepSettings::quiet, duration(from_seconds(0.01), from_seconds(60.0)),
               "length at rest at either end of the step from which its levels are taken; 100 ms when not given")
          .may("ratio", &StepSettings::ratio, maybe(number(-1e6, 1e6)),
               "input over output at rest, signed; needed for steady_error");
  return fields;
}

constexpr double ms = 1e3;

class StepScore {
 public:
  explicit StepScore(const ScoreInput& input)
      : input_{input},
        settings_{std::any_cast<const StepSettings&>(input.settings)},
        in_info_{input.capture.signals()[input.signal("input")]},
        out_info_{input.capture.signals()[input.signal("output")]} {}

  ScoreResult run() const;

 private:
  // Of one cycle, with what all cycles say marked.
  Figure draw(const std::string& step, const StepCycle& c, const std::vector<Finding>& findings) const;

  const ScoreInput& input_;
  const StepSettings& settings_;
  const SignalInfo& in_info_;
  const SignalInfo& out_info_;
};

Figure StepScore::draw(const std::string& step, const StepCycle& c, const std::vector<Finding>& findings) const {
  const auto& settled = finding_named(findings, "step.settling_time");
  auto figure = step_figure("Step '" + step + "': both signals from their old level (0) to their new one (1)", c,
                            in_info_, out_info_, settled.value ? 3.0 * std::max(50.0, *settled.value) : INFINITY);
  for (const auto* percent : {"10", "50", "90"})
    add_mark(figure, std::string{percent} + " %", 'x', finding_named(findings, std::string{"step.delay_"} + percent));
  add_mark(figure, "settled", 'x', settled);
  figure.marks.push_back({"old level", 'y', 0.0, 0.0});
  figure.marks.push_back({"new level, band", 'y', 1.0, 0.01 * settings_.band});
  return figure;
}

ScoreResult StepScore::run() const {
  ScoreResult result;
  const auto kinds = step_score().entry.findings;
  for (const auto& [step, spans] : by_step(input_.spans)) {
    const auto frame = pair_frame(input_, "step", step);
    std::vector<StepCycle> cycles(spans.size());
    double interval = 0.0;
    std::optional<std::size_t> drawn;
    for (std::size_t i = 0; i < spans.size(); ++i) {
      cycles[i] = read_step(input_, settings_, spans[i]);
      interval = std::max({interval, cycles[i].input.interval, cycles[i].output.interval});
      // Only the one that is drawn keeps its samples: of a night there are thousands.
      if (drawn)
        cycles[i].input = cycles[i].output = {};
      else if (cycles[i].trouble.empty())
        drawn = i;
    }
    std::vector<Finding> findings;
    for (const auto& kind : kinds) {
      findings.push_back(
          mean_over_cycles(frame, kind.name, finding_unit(kind.unit, in_info_.unit, out_info_.unit), cycles));
      if (kind.name.starts_with("delay_")) refuse_below_resolution(findings.back(), input_.capture.timing(), interval);
    }
    if (drawn) result.figures.push_back(draw(step, cycles[*drawn], findings));
    std::move(findings.begin(), findings.end(), std::back_inserter(result.findings));
  }
  if (input_.spans.empty())
    for (const auto& kind : kinds)
      result.findings.push_back(pair_frame(input_, "step", "")
                                    .missing(kind.name, finding_unit(kind.unit, in_info_.unit, out_info_.unit),
                                             "no complete step to score", false));
  return result;
}

}  // namespace

ScoreKind step_score() {
  ScoreKind score;
  score.entry.settings = kind("step", step_fields);
  score.entry.roles = {{"input", "what is moved, such as the bench's angle sensor at the hand wheel"},
                       {"output", "what answers, such as the bench's angle sensor at the road wheel"}};
  score.entry.findings = {
      {"delay_10", "ms", "output at 10 % of its change, after the input's 50 % instant"},
      {"delay_50", "ms", "output at 50 % of its change, after the input's 50 % instant"},
      {"delay_90", "ms", "output at 90 % of its change, after the input's 50 % instant"},
      {"rise_time", "ms", "output from 10 % to 90 % of its change"},
      {"input_rise_time", "ms", "input from 10 % to 90 % of its change"},
      {"overshoot", "%", "farthest point beyond the new level, of the output's change"},
      {"input_overshoot", "%", "the same of the input"},
      {"settling_time", "ms", "from the input's 50 % instant until the output stays within the band"},
      {"steady_error", "output", "level of the output at rest minus input over ratio, of the change"}};
  score.run = [](const ScoreInput& input) { return StepScore{input}.run(); };
  return score;
}

}  // namespace trackrod
