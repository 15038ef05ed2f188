#pragma once
// The plainest description of how an output follows: output(t) = level + gain * reference(t - lag), by least squares.

#include <string>

#include "harness/score/series.hpp"

namespace trackrod {

struct LaggedLine {
  double level{0.0}, gain{0.0}, lag{0.0};        // output unit, output per reference, s
  double gain_noise{0.0}, lag_noise{0.0};        // standard uncertainties, from what the line leaves
  double residual{0.0}, greatest_residual{0.0};  // output unit: root mean square, and greatest
  // What is left beyond noise, as by play, may pass for gain or lag: half of what the two halves of the stretch differ
  // by, each by itself.
  double gain_left_open{0.0}, lag_left_open{0.0};
  bool held{false};     // the reference stood still: the level alone, gain and lag say nothing
  std::string trouble;  // why there is none; empty: there is one

  double at(const Series& reference, double t) const { return held ? level : level + gain * reference.at(t - lag); }
};

// Over the output's samples with from <= t < to; lags from 0 to 0.5 s, or a quarter of the stretch. Trouble: too few
// samples.
LaggedLine fit_lagged_line(const Series& reference, const Series& output, double from, double to);

}  // namespace trackrod
