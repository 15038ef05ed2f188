#pragma once
// A torque that follows a force through a first-order low pass with dead time, whose gain is k / sqrt(1 + (2 pi f
// tau)^2) and whose group delay is L + tau / (1 + (2 pi f tau)^2) (any textbook on linear systems).

#include <numbers>

#include "tests/score/known.hpp"

namespace trackrod::test {

struct Feel {
  double dead_time{0.008}, tau{0.03}, per_force{0.004};  // s, s, Nm/N
};

// A chirp of the force from 0.4 to 12 Hz over 20 s from 0 on, rest until 21.5 s, then on to 300 N, and at 24 s off.
inline double force(double t) {
  constexpr double from = 0.4, to = 12.0, length = 20.0, size = 500.0;
  if (t > 0.0 && t < length) {
    const double growth = std::log(to / from) / length;
    const double phase = 2.0 * std::numbers::pi * from * (std::exp(growth * t) - 1.0) / growth;
    return size * std::sin(phase) * std::min({1.0, t / 2.0, (length - t) / 1.0});
  }
  return soft_step(t, 22.0, 0.3, 300.0) - soft_step(t, 24.0, 0.005, 300.0);
}

inline KnownCapture felt(const Feel& feel, Sensor cell, Sensor hand, std::uint64_t seed) {
  SteeredUnit unit;
  unit.dead_time = feel.dead_time;
  unit.first_order = true;
  unit.natural = 1.0 / feel.tau;
  unit.ratio = 1.0 / feel.per_force;
  auto c = record(unit, force, 25.5, cell, hand, seed);
  c.infos[0].unit = "N", c.infos[1].unit = "Nm";
  c.all_spans = {{"sweep", 0, at(0.0), at(20.0), true}, {"drop", 0, at(23.7), at(25.5), true}};
  return c;
}

}  // namespace trackrod::test
