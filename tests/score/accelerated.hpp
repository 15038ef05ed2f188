#pragma once
// A road wheel that moves because the speed changes while the hand is held: the ratio depends on the speed.

#include "tests/score/known.hpp"

namespace trackrod::test {

// Hand held at 60 deg while the speed goes evenly from 20 to 60 km/h within 2 s, from 1 s on; the ratio follows it as
// 8 + 0.1 / (km/h), behind a lag of 150 ms.
struct Accelerated {
  double held{60.0}, per_speed{0.1}, lag{0.15};
  double ratio_at(double speed) const { return 8.0 + per_speed * speed; }
};
double speed_at(double t) { return 20.0 + 40.0 * std::clamp((t - 1.0) / 2.0, 0.0, 1.0); }

struct SpeedRecord {
  KnownCapture capture;
  double motion{0.0}, rate{0.0};  // truth: change, and greatest rate as the slope of a line over 100 ms
};
inline SpeedRecord accelerate(const Accelerated& unit, int cycles, double noise, std::uint64_t seed) {
  constexpr double length = 5.0, dt = 1e-4;
  std::vector<double> road;
  double filtered = speed_at(-2.0);
  for (double t = -2.0; t < length; t += dt) {
    filtered += dt / unit.lag * (speed_at(t) - filtered);
    if (t >= -1.0) road.push_back(unit.held / unit.ratio_at(filtered));
  }
  const auto course = [&](double t) {
    return road[std::min(static_cast<std::size_t>(std::max(0.0, (t + 1.0) / dt)), road.size() - 1)];
  };
  SpeedRecord r;
  const auto level = [&](double from) {
    double sum = 0.0;
    for (int k = 0; k < 1000; ++k) sum += course(from + 1e-4 * k) / 1000.0;
    return sum;
  };
  r.motion = level(length - 0.1) - level(0.0);
  for (double from = 0.0; from + 0.1 < length; from += 0.001) {
    double above = 0.0, below = 0.0;
    for (int k = 0; k <= 200; ++k) {
      const double x = -0.05 + 0.0005 * k;
      above += x * course(from + 0.05 + x), below += x * x;
    }
    r.rate = std::max(r.rate, std::abs(above / below));
  }
  std::mt19937_64 random{seed};
  auto& c = r.capture;
  Sensor hand, out, bus;
  hand.noise = 0.005, out.noise = noise, bus.interval = 0.01;
  hand.phase = 0.0003, out.phase = 0.0006;
  c.infos = {info_of(hand, "hand", "hand_bench"), info_of(out, "road", "road_bench"), info_of(bus, "speed", "unit")};
  c.infos[2].unit = "km/h";
  c.samples.resize(3);
  for (int k = 0; k < cycles; ++k) {
    const auto all = {sense(
                          hand, [&](double) { return unit.held; }, length, random),
                      sense(out, course, length, random), sense(bus, speed_at, length, random)};
    std::size_t i = 0;
    for (auto points : all) {
      for (auto& p : points)
        if (p.when >= at(0.0)) p.when += from_seconds(k * length), c.samples[i].push_back(p);
      ++i;
    }
  }
  set_cycles(c, "faster", cycles, length);
  c.first = at(0.0), c.last = at(cycles * length);
  return r;
}

}  // namespace trackrod::test
