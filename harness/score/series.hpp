#pragma once
// Samples of one signal as plain vectors, and whether they can carry a measurement at all.

#include <string>
#include <vector>

#include "harness/capture/view.hpp"

namespace trackrod {

struct Series {
  std::vector<double> t;         // s after the origin; when the world was so: the stamp less the sensor's delay
  std::vector<double> y;         // in the signal's unit
  double interval{0.0};          // s, median time between samples
  double stamp_half_width{0.0};  // s, median of what the stamps say of themselves
  double noise{0.0};             // standard deviation of a sample, without slow motion; at least that of its resolution
  double resolution{0.0};        // of the sensor
  std::size_t no_value{0};       // samples that said "no value", left out
  std::string trouble;           // why nothing can be read from it, in words; empty: usable

  std::size_t size() const { return t.size(); }
  // Linear between samples; beyond the ends the nearest one. Needs one sample or more.
  double at(double time) const;
  // Index of the first sample at or after `time`.
  std::size_t from(double time) const;
  // Largest less smallest value.
  double span() const;
};

// Samples of the stretch from <= time < to. Trouble: too few samples, "no value" throughout, frozen, saturated.
Series read_series(const CaptureView& capture, SignalIndex signal, BenchTime from, BenchTime to, BenchTime origin);

// Why the two cannot be held against each other, in words: one of them stood still to the last digit where its own
// noise, or the motion of the other one, does not allow it; or samples are missing for long. `lag`: s by which the
// output may follow the input. Empty: usable.
std::string stuck(const Series& input, const Series& output, const std::string& input_name,
                  const std::string& output_name, double lag = 0.25);

// Why a series cannot be believed by itself: it keeps one value to the last digit, without its own noise. Empty: it
// can.
std::string silent_noise(const Series& s, const std::string& name);

// Standard deviation of white noise under slow motion: from divided differences of third order, by their median; t
// need not be even.
double noise_of(const std::vector<double>& t, const std::vector<double>& y);

double median_of(std::vector<double> values);

}  // namespace trackrod
