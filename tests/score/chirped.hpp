#pragma once
// A chirp through a dead time and a second-order lag, H = exp(-i w L) / ratio * wn^2 / (wn^2 - w^2 + 2 i zeta wn w)
// (any textbook of control).

#include <complex>
#include <numbers>

#include "tests/score/known.hpp"

namespace trackrod::test {

constexpr double turn = 2.0 * std::numbers::pi;

inline Sensor sensor(double noise, double phase) {
  Sensor s;
  s.noise = noise;
  s.phase = phase;
  return s;
}

// From 0.3 to 20 Hz in `length` s, growing and shrinking over the first and last second.
inline Motion chirp(double size, double length) {
  return [=](double t) {
    if (t <= 0.0 || t >= length) return 0.0;
    const double growth = std::log(20.0 / 0.3) / length;
    const auto soft = [](double u) { return u >= 1.0 ? 1.0 : u * u * u * (10.0 - 15.0 * u + 6.0 * u * u); };
    return size * soft(t) * soft(length - t) * std::sin(turn * 0.3 * std::expm1(growth * t) / growth);
  };
}

inline std::complex<double> truth_at(const SteeredUnit& u, double f) {
  const std::complex<double> i{0.0, 1.0};
  const double w = turn * f, wn = u.natural;
  return std::exp(-i * w * u.dead_time) / u.ratio * wn * wn / (wn * wn - w * w + 2.0 * i * u.damping * wn * w);
}

inline double group_delay(const SteeredUnit& u, double f) {
  constexpr double df = 1e-4;
  return std::arg(truth_at(u, f - df) / truth_at(u, f + df)) / (2.0 * turn * df);
}

}  // namespace trackrod::test
