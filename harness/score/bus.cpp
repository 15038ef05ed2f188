// The score `bus`: how well the run itself kept time. docs/scores/bus.md.

#include "harness/score/scores.hpp"

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
  return score;
}

}  // namespace trackrod
