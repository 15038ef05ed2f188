// The score `step`: how the output answers when the input goes from one level to another. docs/scores/step.md.

#include "harness/score/scores.hpp"

namespace trackrod {
namespace {

struct StepSettings {
  double band{2.0};  // %
  Duration quiet{from_seconds(0.1)};
  std::optional<double> ratio;  // input unit per output unit
};

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
  return score;
}

}  // namespace trackrod
