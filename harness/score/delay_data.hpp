#pragma once
// Spans of a capture made ready for the score `delay`: both signals, cleaned, with enough of the input's past.

#include <Eigen/Dense>
#include <string>
#include <vector>

#include "harness/score/lag_model.hpp"
#include "harness/score/score.hpp"
#include "harness/score/series.hpp"

namespace trackrod {

struct DelaySpan {
  Series input, output;      // s after the span's start; the input reaches back before it
  double start_output{0.0};  // measured where the past of the input begins
  double length{0.0};        // s
  double lead{0.0};          // s by which the output may be ahead: the input's times stand that much earlier
  std::string trouble;       // why it cannot be used
};

// `longest`: the longest lag that is looked for, s; `lead`: the longest by which the output may be ahead.
DelaySpan read_delay_span(const ScoreInput& input, const Span& span, double longest, double lead = 0.0);

// For the model: the input on an even grid of `dt`, and every `stride`-th output sample whose past input is known.
Stretch stretch_of(const DelaySpan& span, double dt, std::size_t stride, double longest);

// The input's even grid made from every second of its samples only: what sampling more coarsely would have given.
std::vector<double> coarser_input(const DelaySpan& span, const Stretch& stretch);

// A sensor without half a step of noise rounds the same level the same way, however often and long it is held:
// half-width of what that does to a quantity on which each output sample (of all stretches) has this influence. 0 with
// more noise.
double rounding_half_width(const std::vector<DelaySpan>& spans, const std::vector<Stretch>& stretches,
                           const Eigen::VectorXd& influence);

// Lag in s by correlation of levels or rates (differences over +- 5 ms), on a grid of `dt` shifted by `phase` (of dt).
struct SpanLag {
  double lag{0.0};    // s
  double noise{0.0};  // s, standard uncertainty that the noise of both signals explains
  double shape{0.0};  // s, how far a skewed peak leaves the lag open
  double coefficient{0.0};
  double frequency{0.0};  // Hz, root mean square frequency of what was correlated
  double compared{0.0};   // s
  bool complete{true};    // false: samples are missing, and the longest part without a gap was compared
  std::string reason;     // why there is no lag
};
SpanLag correlated_lag(const DelaySpan& span, bool rates, double longest, double dt, double phase);

// Whether the values go up, and down, by a good part of their span.
struct Ways {
  bool up{false}, down{false};
};
Ways ways_of(const Series& s);

}  // namespace trackrod
