#pragma once
// A level of the input from 0 to 10 and back, cycle by cycle, and an output whose gain wanders, grows or jumps from one
// cycle to the next.

#include "tests/score/known.hpp"

namespace trackrod::test {

struct Wander {
  double deviation{0.001}, memory{0.0};
  std::vector<double> at(std::size_t cycles, std::mt19937_64& random) const {
    std::normal_distribution<double> normal;
    std::vector<double> out;
    double e = deviation * normal(random);
    for (std::size_t i = 0; i < cycles; ++i) {
      out.push_back(e);
      e = memory * e + std::sqrt(1.0 - memory * memory) * deviation * normal(random);
    }
    return out;
  }
};

// A cycle of 1 s: at rest until 0.4 s, then at 10 to its end.
inline KnownCapture cycles_with(const std::vector<double>& gains, std::uint64_t seed) {
  const double length = static_cast<double>(gains.size());
  const auto input = [&](double t) { return t < 0.0 || t - std::floor(t) < 0.41 ? 0.0 : 10.0; };
  const auto output = [&](double t) {
    const auto k = std::min(gains.size() - 1, static_cast<std::size_t>(std::max(0.0, t)));
    return input(t) * gains[k];
  };
  std::mt19937_64 random{seed};
  Sensor hand, road;
  hand.interval = road.interval = 0.01;
  hand.noise = road.noise = 1e-4;
  hand.phase = 0.0003, road.phase = 0.0007;
  KnownCapture c;
  c.infos = {info_of(hand, "hand", "hand"), info_of(road, "road", "road")};
  c.samples = {sense(hand, input, length, random), sense(road, output, length, random)};
  c.first = at(-0.95), c.last = at(length);
  for (std::size_t k = 0; k < gains.size(); ++k)
    c.all_spans.push_back({"press", static_cast<std::uint32_t>(k), at(static_cast<double>(k) + 0.4),
                           at(static_cast<double>(k) + 1.0), true});
  return c;
}

inline std::vector<double> gains_of(std::size_t cycles, double per_cycle, const Wander& wander, std::uint64_t seed) {
  std::mt19937_64 random{seed};
  auto gains = wander.at(cycles, random);
  for (std::size_t i = 0; i < cycles; ++i) gains[i] += 0.1 + per_cycle * static_cast<double>(i);
  return gains;
}

}  // namespace trackrod::test
