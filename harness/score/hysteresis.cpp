// The score `hysteresis`: width of the loop that output draws over input in sweeps to and fro.
// docs/scores/hysteresis.md.

#include "harness/score/scores.hpp"

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
  return score;
}

}  // namespace trackrod
