#pragma once
// One execution of a step, read off: every quantity of the score `step` with its noise, or the reason why there is
// none.

#include <array>
#include <map>
#include <optional>
#include <string>
#include <vector>

#include "harness/score/findings.hpp"
#include "harness/score/score.hpp"
#include "harness/score/transition.hpp"

namespace trackrod {

struct StepSettings {
  double band{2.0};  // %
  Duration quiet{from_seconds(0.1)};
  std::optional<double> ratio;  // input unit per output unit
};

// One quantity in one cycle.
struct Reading {
  std::optional<double> value;
  double noise{0.0};                          // standard uncertainty from noise
  std::vector<Contribution> common;           // what all cycles share
  std::optional<std::array<double, 2>> hull;  // what is left open beyond the budget
  std::string reason;                         // of no value
};

struct StepCycle {
  Series input, output;
  Level in_first, in_last, out_first, out_last;
  double zero{0.0};                         // s, the input's 50 % instant
  std::map<std::string, Reading> readings;  // by name of finding
  std::string trouble;                      // why nothing can be read; empty: something could
};

StepCycle read_step(const ScoreInput& input, const StepSettings& settings, const Span& span);

// The finding that is the mean of the readings `name`. A few cycles in which something went wrong are left out, and
// said; more than a third make the finding empty.
Finding mean_over_cycles(const Frame& frame, const std::string& name, const std::string& unit,
                         const std::vector<StepCycle>& cycles);

}  // namespace trackrod
