#pragma once
// A rig that is known exactly: input by formula, unit simulated finely, sensors with delay, noise, resolution and
// jitter. Written for these tests alone: shares no code with what it checks.

#include <algorithm>
#include <any>
#include <cmath>
#include <functional>
#include <memory>
#include <optional>
#include <random>
#include <stdexcept>
#include <string>
#include <vector>

#include "harness/base/node.hpp"
#include "harness/score/scoring.hpp"

namespace trackrod::test {

class KnownCapture final : public CaptureView {
 public:
  std::vector<SignalInfo> infos;
  std::vector<Span> all_spans;
  std::vector<Event> all_events;
  std::vector<Gap> all_gaps;
  TimingQuality quality;
  std::vector<std::vector<Point>> samples;  // by signal
  BenchTime first{}, last{};

  const std::vector<SignalInfo>& signals() const override { return infos; }
  const std::vector<Span>& spans() const override { return all_spans; }
  const std::vector<Event>& events() const override { return all_events; }
  const std::vector<Gap>& gaps() const override { return all_gaps; }
  const TimingQuality& timing() const override { return quality; }
  BenchTime begin() const override { return first; }
  BenchTime end() const override { return last; }
  Result<std::vector<Point>> points(SignalIndex signal, BenchTime from, BenchTime to) const override {
    const auto earlier = [](const Point& p, BenchTime t) { return p.when < t; };
    const auto& all = samples[signal];
    return std::vector<Point>(std::lower_bound(all.begin(), all.end(), from, earlier),
                              std::lower_bound(all.begin(), all.end(), to, earlier));
  }
};

using Motion = std::function<double(double)>;  // s -> input unit

struct Sensor {
  double noise{0.0};
  double resolution{0.0};
  double delay{0.0};             // s, as it is
  double said_delay{0.0};        // s, as the bench says
  double said_delay_u{0.0};      // s
  double interval{0.001};        // s
  double phase{0.0};             // s, of the first sample
  double jitter{0.0};            // s, half-width of the sampling instant, known to the stamp
  double lost{0.0};              // share of samples that never arrive
  double clock_error{0.0};       // s, by which every stamp is late
  double clock_half_width{0.0};  // s, what the stamps say of that
  double low{0.0}, high{0.0};    // clips there
  bool bench_owned{true};
};

struct SteeredUnit {
  double dead_time{0.012}, natural{60.0}, damping{0.8};
  bool first_order{false};  // then 1 / natural is the time constant
  double ratio{10.0}, play{0.0};
  double friction{0.0};  // acceleration that Coulomb friction takes, output unit/s^2
  double offset{0.0};
  std::function<double(double)> law{};  // input -> output at rest, without play; not given: input / ratio
};

// Output of the unit every 25 us from t = -1 s on, with the input at rest before.
inline std::vector<double> simulate(const SteeredUnit& unit, const Motion& motion, double length) {
  constexpr double dt = 25e-6;
  const auto drive = [&](double t) {
    const double in = motion(t - unit.dead_time);
    return unit.law ? unit.law(in) : in / unit.ratio;
  };
  double y = drive(-1.0), v = 0.0, road = y;
  std::vector<double> out;
  const auto count = static_cast<std::size_t>((length + 1.0) / dt) + 2;
  const double wn2 = unit.natural * unit.natural, dv = 2.0 * unit.damping * unit.natural;
  double now = drive(-1.0);
  for (std::size_t i = 0; i < count; ++i) {
    const double t = -1.0 + dt * static_cast<double>(i);
    road = std::clamp(road, y - 0.5 * unit.play, y + 0.5 * unit.play);
    out.push_back(road + unit.offset);
    const double half = drive(t + 0.5 * dt), next = drive(t + dt);
    if (unit.first_order) {  // classical Runge-Kutta
      const auto f = [&](double in, double value) { return unit.natural * (in - value); };
      const double a = f(now, y), b = f(half, y + 0.5 * dt * a), c = f(half, y + 0.5 * dt * b), d = f(next, y + dt * c);
      y += dt / 6.0 * (a + 2.0 * b + 2.0 * c + d);
    } else if (unit.friction > 0.0) {  // midpoint drive, friction that sticks
      const double pushed = v + dt * (wn2 * (half - y - 0.5 * dt * v) - dv * v);
      const double after = pushed - std::clamp(pushed, -unit.friction * dt, unit.friction * dt);
      y += 0.5 * dt * (v + after);
      v = after;
    } else {
      const auto f = [&](double in, double value, double speed) { return wn2 * (in - value) - dv * speed; };
      const double a1 = v, b1 = f(now, y, v);
      const double a2 = v + 0.5 * dt * b1, b2 = f(half, y + 0.5 * dt * a1, v + 0.5 * dt * b1);
      const double a3 = v + 0.5 * dt * b2, b3 = f(half, y + 0.5 * dt * a2, v + 0.5 * dt * b2);
      const double a4 = v + dt * b3, b4 = f(next, y + dt * a3, v + dt * b3);
      y += dt / 6.0 * (a1 + 2.0 * a2 + 2.0 * a3 + a4);
      v += dt / 6.0 * (b1 + 2.0 * b2 + 2.0 * b3 + b4);
    }
    now = next;
  }
  return out;
}

inline SignalInfo info_of(const Sensor& s, const std::string& name, const std::string& device) {
  SignalInfo info;
  info.name = name;
  info.unit = "deg";
  info.device = device;
  info.bench_owned = s.bench_owned;
  info.resolution = s.resolution;
  info.range_low = s.low;
  info.range_high = s.high;
  info.delay = from_seconds(s.said_delay);
  info.delay_uncertainty = from_seconds(s.said_delay_u);
  return info;
}

inline BenchTime at(double s) { return BenchTime{std::chrono::seconds{100}} + from_seconds(s); }

// What the sensor shows of `world`, from -0.95 s to `length`.
inline std::vector<Point> sense(const Sensor& s, const Motion& world, double length, std::mt19937_64& random) {
  std::normal_distribution<double> normal;
  std::uniform_real_distribution<double> even{-1.0, 1.0};
  std::vector<Point> out;
  for (double t = -0.95 + s.phase; t < length; t += s.interval) {
    const double instant = t + s.jitter * even(random);
    double y = world(instant - s.delay) + s.noise * normal(random);
    if (s.resolution > 0.0) y = s.resolution * std::round(y / s.resolution);
    if (s.low < s.high) y = std::clamp(y, s.low, s.high);
    if (s.lost > 0.0 && even(random) < 2.0 * s.lost - 1.0) continue;
    Point p;
    p.when = at(instant + s.clock_error);
    p.value = y;
    p.uncertainty_ns = static_cast<std::uint32_t>(std::lround(1e9 * s.clock_half_width));
    out.push_back(p);
  }
  return out;
}

// Input "hand", output "road"; one span from 0 to `length` of the step "move" unless more are added.
inline KnownCapture record(const SteeredUnit& unit, const Motion& motion, double length, const Sensor& hand,
                           const Sensor& road, std::uint64_t seed) {
  std::mt19937_64 random{seed};
  const auto response = simulate(unit, motion, length);
  const auto output = [&](double t) {
    const double position = std::clamp((t + 1.0) / 25e-6, 0.0, static_cast<double>(response.size() - 2));
    const auto i = static_cast<std::size_t>(position);
    const double part = position - static_cast<double>(i);
    return response[i] + part * (response[i + 1] - response[i]);
  };
  KnownCapture c;
  c.infos = {info_of(hand, "hand", "hand_bench"), info_of(road, "road", "road_bench")};
  c.samples = {sense(hand, motion, length, random), sense(road, output, length, random)};
  c.first = at(-0.95);
  c.last = at(length);
  c.quality.tick = from_seconds(0.001);
  c.quality.ticks = static_cast<std::uint64_t>(length * 1000.0);
  c.all_spans = {{"move", 0, at(0.0), at(length), true}};
  return c;
}

// Two sensors, "hand" and "road", that see the same motion; what "road" shows of it is `gain` times as much.
inline KnownCapture record_two(const Motion& motion, double gain, double length, const Sensor& hand, const Sensor& road,
                               std::uint64_t seed) {
  std::mt19937_64 random{seed};
  auto c = record(SteeredUnit{}, motion, length, hand, road, seed);
  c.samples = {sense(hand, motion, length, random),
               sense(
                   road, [&](double t) { return gain * motion(t); }, length, random)};
  return c;
}

// Spans of `length` each from 0 on, as cycles of one step.
inline void set_cycles(KnownCapture& c, const std::string& step, int count, double length) {
  c.all_spans.clear();
  for (int k = 0; k < count; ++k)
    c.all_spans.push_back({step, static_cast<std::uint32_t>(k), at(k * length), at((k + 1) * length), true});
}

// ---- motions --------------------------------------------------------------------------------------

// From 0 to `size` with an even rate that begins and ends softly, within `rise` seconds from `start` on.
inline double soft_step(double t, double start, double rise, double size) {
  const double x = std::clamp((t - start) / rise, 0.0, 1.0);
  return size * x * x * (3.0 - 2.0 * x);
}
// A step up at 0.3 s of each period and down at 0.3 s of the next.
inline Motion steps(double size, double rise, double period) {
  return [=](double t) {
    if (t < 0.0) return 0.0;
    const double turn = std::floor(t / period);
    const double edge = soft_step(t - turn * period, 0.3, rise, size);
    return std::fmod(turn, 2.0) == 0.0 ? edge : size - edge;
  };
}
// To and fro between -size and size at `rate`, from 0 on.
inline Motion triangle(double size, double rate) {
  return [=](double t) {
    if (t < 0.0) return 0.0;
    const double way = std::fmod(rate * t, 4.0 * size);
    return way < size ? way : way < 3.0 * size ? 2.0 * size - way : way - 4.0 * size;
  };
}
inline Motion sine(double size, double frequency) {
  return [=](double t) { return t < 0.0 ? 0.0 : size * std::sin(2.0 * 3.14159265358979323846 * frequency * t); };
}

// ---- scoring --------------------------------------------------------------------------------------

// Settings as a plan would write them.
inline std::any settings_of(const std::string& score, const std::string& json) {
  Problems problems;
  const auto node = parse_json(json, "settings", problems);
  if (!node) throw std::runtime_error{"settings that are no JSON: " + json};
  for (const auto& entry : score_entries())
    if (entry.settings.name == score) {
      std::any out;
      if (entry.settings.read(*node, "score", out, problems)) return out;
      std::string all;
      for (const auto& p : problems.sorted()) all += p.sentence() + "\n";
      throw std::runtime_error{all};
    }
  throw std::runtime_error{"no score '" + score + "'"};
}

// Roles: "input" is the first signal and "output" the second when none are given.
inline ScoreResult score(const std::string& name, const KnownCapture& capture, const std::string& settings = "{}",
                         std::vector<std::pair<std::string, SignalIndex>> roles = {}) {
  const auto values = settings_of(name, settings);
  if (roles.empty() && name != "bus") roles = {{"input", SignalIndex{0}}, {"output", SignalIndex{1}}};
  auto result = run_score(name, ScoreInput{capture, capture.all_spans, std::move(roles), values});
  if (!result) throw std::runtime_error{result.error().context};
  return *result;
}

// The first finding of that name (without the score's in front). Throws when there is none, as all here does.
inline Finding finding_of(const ScoreResult& result, const std::string& name) {
  for (const auto& f : result.findings)
    if (f.name.ends_with("." + name)) return f;
  throw std::runtime_error{"no finding '" + name + "'"};
}

}  // namespace trackrod::test
