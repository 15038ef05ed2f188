#pragma once
// A straight line through the stiff part of a force-deflection curve: the angle as a function of the force that causes
// it.

#include <cstddef>
#include <optional>
#include <vector>

namespace trackrod {

struct Flank {
  double at_zero{0.0}, slope{0.0};              // angle at no force; angle per force: what bends
  double at_zero_noise{0.0}, slope_noise{0.0};  // standard uncertainties
  double shared{0.0};                           // covariance of the two
  std::size_t samples{0};

  double at(double force) const { return at_zero + slope * force; }
  double noise_at(double force) const;  // standard uncertainty of the line there
};

// Least squares over the samples of [begin, end) whose force lies within [low, high]. Noise of the force does not
// flatten the line as long as the force passes on beyond both ends at an even rate: among samples chosen by what the
// sensor shows, the true forces lie about that evenly (Berkson 1950, "Are there two regressions?"; from memory).
// `force_noise`: standard deviation of the noise of these values. Empty: fewer than `fewest` samples, or no spread of
// the force beyond noise.
std::optional<Flank> fit_flank(const std::vector<double>& force, const std::vector<double>& angle, std::size_t begin,
                               std::size_t end, double low, double high, double force_noise, std::size_t fewest);

// What a reading of a flank's outer half differs by from that of the whole, beyond what the noise of the two explains
// (standard uncertainties; the whole holds the outer half, so that the variance of their difference is the difference
// of their variances). 0: a straight line will do.
double bend_beyond_noise(double difference, double outer_noise, double whole_noise);

// By how many times the change that reading only the outer half of [from, to] makes at no force, a flank that bends
// evenly is misread there. A straight line through x^2 over [a, b] is -(a^2 + 4 a b + b^2) / 6 at 0.
double missed_by_a_line(double from, double to);

}  // namespace trackrod
