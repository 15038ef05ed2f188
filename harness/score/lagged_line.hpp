#pragma once
// The plainest description of how an output follows, by least squares: level + gain * reference(t - lag), behind a gap
// where the output shows one.

#include <string>
#include <vector>

#include "harness/score/series.hpp"

namespace trackrod {

struct LaggedLine {
  double level{0.0}, gain{0.0}, lag{0.0};  // output unit, output per reference, s
  double play{0.0};                        // total gap, output unit; 0: none shows
  // Standard uncertainties, from what is left: by how long that resembles itself, so that what neither line nor gap
  // explains counts too.
  double gain_noise{0.0}, lag_noise{0.0};
  double residual{0.0}, greatest_residual{0.0};  // output unit: root mean square, and greatest
  bool held{false};                              // the reference stood still: the level alone, gain and lag say nothing
  std::string trouble;                           // why there is none; empty: there is one

  // What the output should be at these rising times. In the middle of the gap until one side of it has pushed.
  std::vector<double> course(const Series& reference, const std::vector<double>& times) const;
};

// Over the output's samples with from <= t < to; lags up to 0.5 s, or a quarter of the stretch. Samples on their way
// through the gap after a reversal do not count. `play`: of the gap as known from elsewhere, taken where only one side
// of it pushes in the stretch. Trouble: too few samples.
LaggedLine fit_lagged_line(const Series& reference, const Series& output, double from, double to, double play = 0.0);

}  // namespace trackrod
