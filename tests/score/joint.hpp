#pragma once
// A joint with play that is known exactly: one end held by a spring, a force on the other end, and friction in the
// gap.

#include "tests/score/known.hpp"

namespace trackrod::test {

struct Joint {
  double gap{0.12};           // deg
  double compliance{8e-4};    // deg/N
  double friction{30.0};      // N, in the gap
  double held_friction{0.0};  // N, of the held end: the spring lags by it
  double curve{0.0};          // deg/N^2: a flank that stiffens
};

// Force to and fro between -size and size at `rate` N/s, from zero on, three times and a half.
inline KnownCapture loaded(const Joint& joint, std::uint64_t seed, double size = 1500.0, double rate = 500.0,
                           double road_noise = 0.002) {
  const double length = 3.5 * 4.0 * size / rate;
  const auto force = triangle(size, rate);
  std::vector<double> output;
  constexpr double dt = 1e-3;
  double side = 0.0, spring = 0.0;
  for (double t = -1.0; t < length + 0.1; t += dt) {
    const double f = force(t);
    if (f > joint.friction) side = 0.5 * joint.gap;
    if (f < -joint.friction) side = -0.5 * joint.gap;
    spring = std::clamp(spring, f - joint.held_friction, f + joint.held_friction);
    output.push_back(side + joint.compliance * spring - joint.curve * spring * std::abs(spring));
  }
  const auto moved = [&](double t) {
    const double place = std::clamp((t + 1.0) / dt, 0.0, static_cast<double>(output.size() - 2));
    const auto i = static_cast<std::size_t>(place);
    return output[i] + (place - static_cast<double>(i)) * (output[i + 1] - output[i]);
  };
  std::mt19937_64 random{seed};
  Sensor cell, road;
  cell.noise = 5.0, cell.resolution = 0.1, cell.phase = 0.0003;
  road.noise = road_noise, road.resolution = 0.001, road.phase = 0.0007;
  KnownCapture c;
  c.infos = {info_of(cell, "force", "load"), info_of(road, "road", "road")};
  c.infos[0].unit = "N";
  c.samples = {sense(cell, force, length, random), sense(road, moved, length, random)};
  c.first = at(-0.95), c.last = at(length);
  c.all_spans = {{"load", 0, at(0.0), at(length), true}};
  return c;
}

}  // namespace trackrod::test
