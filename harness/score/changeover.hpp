#pragma once
// What a unit with two feeds sees and does when one of them drops and the other one carries.

#include <string>
#include <vector>

#include "harness/score/drop_outs.hpp"
#include "harness/score/fault_effect.hpp"
#include "harness/score/fault_times.hpp"

namespace trackrod {

struct Changeover {
  TimeBounds below;       // s, how long the voltage at the connector was below, in all
  DepartureCourse depth;  // how far it was under its highest, from when the feed dropped
  double highest{0.0};    // V
  bool lost{false};       // the unit stopped working, before the feed came back
};
struct Changeovers {
  std::vector<Changeover> found;
  double noise{0.0};    // V, of a sample at the connector
  std::string trouble;  // why there is none
};

// Where the signal in the role `feed` is below, and what the one in the role `input`, at the connector, does meanwhile.
// A changeover counts when the unit worked before it and the feed comes back within the span.
Changeovers changeovers_of(const ScoreInput& input, const Span& span, const DropOutRule& rule);

}  // namespace trackrod
