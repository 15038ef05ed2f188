#pragma once
// Drop-outs of a supply and what a unit did in each, read off voltage and a signal that shows whether the unit works.

#include <optional>
#include <string>
#include <vector>

#include "harness/score/between.hpp"
#include "harness/score/score.hpp"

namespace trackrod {

struct DropOutRule {
  double below{0.0};                   // V: a drop-out is where the voltage is below
  double low{0.0}, high{0.0};          // of the output: within, the unit works
  Duration silent{from_seconds(0.1)};  // without a sample for longer it does not
};

// Where the unit works, as changes between works and does not, from its first sample on. A unit that says "no value" or
// nothing does not.
struct WorksChange {
  Between when;
  bool works{false};
};
std::vector<WorksChange> works_changes(const std::vector<Point>& points, const DropOutRule& rule, BenchTime origin);

struct DropOut {
  Between begin, end;                       // of the voltage below
  double stamp_half_width{0.0};             // s, of the voltage
  double lowest{0.0};                       // V, of the samples
  double lowest_noise{0.0};                 // V: by so much noise makes it too low, on the average
  double lowest_between{0.0};               // V: by so much it may be lower between two samples
  double noise{0.0};                        // V, standard deviation of a sample
  bool lost{false};                         // the unit stopped working in it, or after it before the next one
  Between lost_at;                          // when lost
  std::optional<Between> back_at;           // for good, until the next drop-out or the end; empty: never
  double volts_lost{0.0}, volts_back{0.0};  // at these instants
  double slope_lost{0.0}, slope_back{0.0};  // V/s there
};

struct DropOuts {
  std::vector<DropOut> found;
  std::string trouble;  // why there is none
};
// A drop-out counts when the unit worked before it.
DropOuts drop_outs_of(const ScoreInput& input, const Span& span, const DropOutRule& rule);

}  // namespace trackrod
