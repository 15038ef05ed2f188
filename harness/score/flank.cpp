#include "harness/score/flank.hpp"

#include <Eigen/Dense>
#include <algorithm>
#include <cmath>

namespace trackrod {

double Flank::noise_at(double force) const {
  const double variance =
      at_zero_noise * at_zero_noise + 2.0 * force * shared + force * force * slope_noise * slope_noise;
  return std::sqrt(std::max(0.0, variance));
}

std::optional<Flank> fit_flank(const std::vector<double>& force, const std::vector<double>& angle, std::size_t begin,
                               std::size_t end, double low, double high, double force_noise, std::size_t fewest) {
  Eigen::Matrix2d normal = Eigen::Matrix2d::Zero();
  Eigen::Vector2d right = Eigen::Vector2d::Zero();
  const auto inside = [&](std::size_t i) { return force[i] >= low && force[i] <= high; };
  Flank flank;
  for (std::size_t i = begin; i < end; ++i) {
    if (!inside(i)) continue;
    const Eigen::Vector2d row{1.0, force[i]};
    normal += row * row.transpose();
    right += row * angle[i];
    ++flank.samples;
  }
  const double n = static_cast<double>(flank.samples);
  if (flank.samples < std::max<std::size_t>(3, fewest)) return std::nullopt;
  const double spread = normal(1, 1) - normal(0, 1) * normal(0, 1) / n;
  if (spread <= 2.0 * n * force_noise * force_noise) return std::nullopt;
  const Eigen::Matrix2d inverse = normal.inverse();
  const Eigen::Vector2d line = inverse * right;
  double left = 0.0, alike = 0.0, last = 0.0;
  for (std::size_t i = begin; i < end; ++i) {
    if (!inside(i)) continue;
    const double residual = angle[i] - line[0] - line[1] * force[i];
    left += residual * residual;
    alike += residual * last;
    last = residual;
  }
  // What is left of one sample resembles that of the next: noise of the force, and what is no straight line.
  const double rho = left > 0.0 ? std::clamp(alike / left, 0.0, 0.98) : 0.0;
  const double variance = left / (n - 2.0) * (1.0 + rho) / (1.0 - rho);
  flank.at_zero = line[0];
  flank.slope = line[1];
  flank.at_zero_noise = std::sqrt(variance * inverse(0, 0));
  flank.slope_noise = std::sqrt(variance * inverse(1, 1));
  flank.shared = variance * inverse(0, 1);
  return flank;
}

double bend_beyond_noise(double difference, double outer_noise, double whole_noise) {
  const double explained = std::max(0.0, outer_noise * outer_noise - whole_noise * whole_noise);
  return std::sqrt(std::max(0.0, difference * difference - explained));
}

double missed_by_a_line(double from, double to) {
  const auto at_zero = [](double a, double b) { return a * a + 4.0 * a * b + b * b; };
  const double whole = at_zero(from, to), outer = at_zero(0.5 * (from + to), to);
  return whole / (outer - whole);
}

}  // namespace trackrod
