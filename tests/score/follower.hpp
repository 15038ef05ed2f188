#pragma once
// An output in closed form that goes at the rate that the input asks, dead time later, or at its own limit when that is
// lower.

#include "tests/score/known.hpp"

namespace trackrod::test {

struct Follower {
  double limit{40.0}, ratio{10.0}, dead_time{0.01};  // output unit/s, 1, s
};

// Three sweeps and a half at each rate, from 0 on, with a pause of 0.5 s between.
inline KnownCapture swept(const Follower& unit, const std::vector<double>& rates, std::uint64_t seed,
                          double size = 60.0, double out_noise = 0.005) {
  std::vector<double> starts;
  double length = 0.0;
  for (const double rate : rates) {
    starts.push_back(length);
    length += 3.5 * 4.0 * size / rate + 0.5;
  }
  const auto hand = [&](double t) {
    for (std::size_t i = rates.size(); i-- > 0;)
      if (t >= starts[i]) {
        const double since = std::min(t - starts[i], 3.5 * 4.0 * size / rates[i]);
        return triangle(size, rates[i])(since);
      }
    return 0.0;
  };
  std::vector<double> road;
  constexpr double dt = 1e-4;
  double y = 0.0;
  for (double t = 0.0; t < length + 0.1; t += dt) {
    road.push_back(y);
    y += std::clamp(hand(t + dt - unit.dead_time) / unit.ratio - y, -unit.limit * dt, unit.limit * dt);
  }
  const auto output = [&](double t) {
    const double place = std::clamp(t / dt, 0.0, static_cast<double>(road.size() - 2));
    const auto i = static_cast<std::size_t>(place);
    return road[i] + (place - static_cast<double>(i)) * (road[i + 1] - road[i]);
  };
  std::mt19937_64 random{seed};
  Sensor in, out;
  in.noise = 0.01, in.phase = 0.0003;
  out.noise = out_noise, out.phase = 0.0007;
  KnownCapture c;
  c.infos = {info_of(in, "hand", "hand"), info_of(out, "road", "road")};
  c.samples = {sense(in, hand, length, random), sense(out, output, length, random)};
  c.first = at(-0.95), c.last = at(length);
  for (std::size_t i = 0; i < rates.size(); ++i)
    c.all_spans.push_back(
        {"rate_" + std::to_string(i), 0, at(starts[i]), at((i + 1 < rates.size() ? starts[i + 1] : length)), true});
  return c;
}

}  // namespace trackrod::test
