#pragma once
// Pictures of the score `hysteresis`: the loops, and how their width grows with the rate.

#include <vector>

#include "harness/score/line_fit.hpp"
#include "harness/score/rate_groups.hpp"
#include "harness/score/score.hpp"

namespace trackrod {

// `line`: of the width over twice the output's rate; null when there is none. `findings`: of the same sweeps, with the
// width at each rate in the order of the set's groups, and the width without lag.
std::vector<Figure> loop_figures(const SweepSet& set, const LineFit* line, const std::vector<Finding>& findings,
                                 const SignalInfo& input, const SignalInfo& output);

}  // namespace trackrod
