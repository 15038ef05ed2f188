#pragma once
// How an output answers its input at one frequency, from motions that begin and end at rest. docs/scores/frequency.md.

#include <complex>
#include <string>
#include <vector>

#include "harness/score/series.hpp"

namespace trackrod {

// One line of the spectra of both signals.
struct SpectrumLine {
  double frequency{0.0};               // Hz
  std::complex<double> input, output;  // unit * s
  double input_noise{0.0};             // expected square of what noise adds to `input`
};

// One execution of a motion from rest to rest, both signals, times from its start. Its spectra need no window, since
// nothing is cut off, and no even sampling: integrals over the samples as they are, by the trapezoidal rule.
class RestToRest {
 public:
  // `length`: s, with the rest at its end. Straight lines from the level at the start to that at the end are taken out.
  RestToRest(Series input, Series output, double length);
  double length() const { return length_; }
  // Lines at whole multiples of 1 / length between the two frequencies.
  std::vector<SpectrumLine> lines(double low, double high) const;

 private:
  Series input_, output_;
  double length_;
};

// Output over input at one frequency f0: a complex least-squares fit H(f) = (a + b d + c d^2) exp(-i 2 pi f delay),
// d = f / f0 - 1, to all lines of a band about it. `wider`: those of a band twice as wide, which tell how far the phase
// bends beyond a parabola.
struct Response {
  std::complex<double> value;
  double phase{0.0};        // rad, unwrapped by `delay`; negative: the output lags
  double group_delay{0.0};  // s
  double coherence{0.0};    // share of the output's power that follows the input, 0 to 1
  double noise{0.0};  // standard uncertainty of the magnitude from what the fit leaves; over it, of the phase (rad)
  double group_noise{0.0};  // s, of the group delay
  double group_bend{0.0};   // s, half-width: of the group delay, since the phase bends within the band
  double input_noise{0.0};  // relative: share of noise in the input's power, taken out of `value`
  std::size_t lines{0};
  double degrees_of_freedom{0.0};
  std::string trouble;  // why there is none; empty: there is one
};
Response response_at(const std::vector<SpectrumLine>& lines, const std::vector<SpectrumLine>& wider, double frequency,
                     double delay);

// The delay that turns the lines of the output best into those of the input, s, within [least, most].
double delay_between(const std::vector<SpectrumLine>& lines, double least, double most);

}  // namespace trackrod
