#pragma once
// The ratio of input to output over stretches of the input, from sweeps to and fro. docs/scores/ratio.md.

#include <string>
#include <vector>

#include "harness/score/rate_groups.hpp"
#include "harness/score/score.hpp"

namespace trackrod {

// Output at positions of the input, mean of both directions: what lag and lost motion make of the one direction they
// make of the other with the opposite sign.
struct RatioMap {
  std::vector<LoopGap> knots;  // in order of position; all known
  // Of each knot, or none: standard uncertainty, signed and common to all, of what lag does where the ratio bends,
  // which is taken out.
  std::vector<double> lag_doubts;
  double rate{0.0};     // input unit/s
  std::string trouble;  // why there is no map; empty: there is one

  std::size_t stretches() const { return knots.size() - 1; }
  double at(std::size_t stretch) const { return 0.5 * (knots[stretch].position + knots[stretch + 1].position); }
  // Input over output between two knots, signed; `moved` is false when the output's change cannot be told from none, or
  // goes the other way than over the whole map.
  struct Between {
    double ratio{0.0};
    bool moved{false};
  };
  Between between(std::size_t first, std::size_t last) const;
  // Of that ratio, in its unit: noise and scatter of the readings at both ends, resolution, calibration of both
  // sensors.
  std::vector<Contribution> budget(std::size_t first, std::size_t last, const SignalInfo& input,
                                   const SignalInfo& output) const;
};

// At the given positions, of the slowest sweeps of the set. `settle`: s left out after a reversal.
RatioMap read_ratio_map(const SweepSet& set, const std::vector<double>& positions, double settle,
                        const SignalInfo& input, const SignalInfo& output);

}  // namespace trackrod
