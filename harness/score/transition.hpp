#pragma once
// One transition of a waveform between two levels at rest, read off after IEEE 181-2011: levels, reference-level
// instants, overshoot, settling. Signed throughout: a falling transition has a negative change, never an absolute one.

#include <optional>
#include <string>

#include "harness/score/series.hpp"

namespace trackrod {

// A level at rest: the mean of a quiet stretch. A plan's step has quiet ends by construction; the mean of these uses
// every sample, where the mode of a histogram depends on its bins and on the sensor's resolution.
struct Level {
  double value{0.0};
  double noise{0.0};                 // standard deviation of a sample
  double standard_uncertainty{0.0};  // of the mean; counts fewer samples when neighbours resemble each other
  double half_width{0.0};            // of resolution, when noise is too small to average it out
  double drift{0.0};                 // second half of the stretch less first half
  double drift_noise{0.0};           // standard uncertainty of that
  std::size_t samples{0};
};
Level level_at_rest(const Series& s, double from, double to, double resolution);
// More than noise and resolution allow, and more than `allowed`.
bool still_moving(const Level& level, double resolution, double allowed);

struct Crossing {
  double t{0.0};           // s
  double noise{0.0};       // s, standard uncertainty from the noise of the samples
  double half_width{0.0};  // s, of the straight line between samples, and of resolution
};

struct Extent {
  double value{0.0};                 // of the change; 0.1 = 10 %
  double standard_uncertainty{0.0};  // of the change
  bool distinct{false};              // from noise
};

struct Settling {
  double t{0.0};                      // s, when the band is entered for good
  double earliest{0.0}, latest{0.0};  // what noise and levels leave open
  double noise{0.0};  // s, standard uncertainty where the edge is passed once and for good; 0: it is not
};

// A waveform with its levels. `first` and `last` differ.
class Transition {
 public:
  Transition(const Series& s, const Level& first, const Level& last, double resolution);

  double change() const { return change_; }
  // The first instant at or after `after` at which `share` of the change is reached, between samples. Empty: never
  // reached, or samples are missing just there.
  std::optional<Crossing> crossing(double share, double after) const;
  // Farthest beyond the last level after 90 % of the change.
  Extent overshoot(double after) const;
  // Empty: the waveform does not stay within +- band (of the change) from `latest_allowed` on, or noise fills the band.
  std::optional<Settling> settling(double band, double after, double latest_allowed) const;
  // Standard deviation of noise, of the change.
  double noise() const { return noise_; }

 private:
  std::vector<double> smoothed(std::size_t half) const;
  std::optional<double> last_outside(const std::vector<double>& z, double band, double after) const;

  const Series& s_;
  Level first_, last_;
  double change_, noise_, resolution_;
  std::vector<double> z_;  // (y - first) / change
};

}  // namespace trackrod
