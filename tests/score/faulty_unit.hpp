#pragma once
// A unit with a fault, in closed form and simulated finely: first order behind a dead time; in a fault its output runs
// towards zero until it reacts, and it then follows with another gain and a further delay.

#include "tests/score/known.hpp"

namespace trackrod::test {

struct FaultyUnit {
  double dead_time{0.02}, lag{0.015}, ratio{10.0};   // s, s
  double reacts_after{0.04}, warns_after{0.03};      // s from the onset
  double fallback_gain{0.95}, fallback_delay{0.01};  // of the normal gain; s
  double heals_after{0.3};                           // s from the end of the fault, warning and all
  double code{4.0};                                  // of the warning; 0: none
  bool reacts{true};
  double play{0.0};  // total gap behind it all
};
struct FaultTime {
  double from{0.0}, to{0.0};
};

// The hand wheel weaves without an end, so that all that was before is steady.
inline double weave(double t) { return 70.0 + 30.0 * std::sin(3.14159265358979323846 * t); }

struct FaultTruth {
  std::vector<double> reaction;  // s, of each fault
  double departure{0.0};         // greatest of all, before the reaction
};

// Signals feed (V; 5 without the fault, 0 with it), road, hand, warning and flag; one span over all.
struct FaultRecord {
  KnownCapture capture;
  FaultTruth truth;
};
struct FaultSensors {
  Sensor feed, road, hand;
  double warning_interval{0.01}, warning_phase{0.003};
};

inline FaultRecord record_faults(const FaultyUnit& unit, const std::vector<FaultTime>& faults, double length,
                                 const FaultSensors& sensors, double tolerance, std::uint64_t seed) {
  constexpr double dt = 1e-5;
  const auto fault_at = [&](double t) -> const FaultTime* {
    for (const auto& f : faults)
      if (t >= f.from && t < f.to + unit.heals_after) return &f;
    return nullptr;
  };
  FaultRecord r;
  r.truth.reaction.assign(faults.size(), 0.0);
  std::vector<double> road;
  double y = weave(-2.0 - unit.dead_time) / unit.ratio, healthy = y, shown = y, healthy_shown = y;
  const auto drag = [&](double& behind, double ahead) {
    behind = std::clamp(behind, ahead - 0.5 * unit.play, ahead + 0.5 * unit.play);
  };
  for (double t = -2.0; t < length; t += dt) {
    const double wanted = weave(t - unit.dead_time) / unit.ratio;
    const auto* f = fault_at(t);
    double asked = wanted;
    if (f != nullptr && (t < f->from + unit.reacts_after || (!unit.reacts && t < f->to)))
      asked = 0.0;
    else if (f != nullptr)
      asked = unit.fallback_gain * weave(t - unit.dead_time - unit.fallback_delay) / unit.ratio;
    y += dt / unit.lag * (asked - y);
    healthy += dt / unit.lag * (wanted - healthy);
    drag(shown, y), drag(healthy_shown, healthy);
    if (t >= -1.0) road.push_back(shown);
    if (f == nullptr || t >= f->to) continue;
    if (std::abs(shown - healthy_shown) < tolerance) continue;
    r.truth.reaction[static_cast<std::size_t>(f - faults.data())] = t + dt - f->from;
    r.truth.departure = std::max(r.truth.departure, std::abs(shown - healthy_shown));
  }
  const auto course = [&](double t) {
    const auto i = static_cast<std::size_t>(std::max(0.0, (t + 1.0) / dt));
    return road[std::min(i, road.size() - 1)];
  };
  const auto feed = [&](double t) {
    for (const auto& f : faults)
      if (t >= f.from && t < f.to) return 0.0;
    return 5.0;
  };
  std::mt19937_64 random{seed};
  auto& c = r.capture;
  c.infos = {info_of(sensors.feed, "feed", "io"), info_of(sensors.road, "road", "road_bench"),
             info_of(sensors.hand, "hand", "hand_bench"), info_of(Sensor{}, "warning", "unit"),
             info_of(Sensor{}, "flag", "unit")};
  c.infos[0].unit = "V", c.infos[3].unit = "1", c.infos[4].unit = "1";
  c.infos[3].bench_owned = c.infos[4].bench_owned = false;
  c.samples = {sense(sensors.feed, feed, length, random),
               sense(sensors.road, course, length, random),
               sense(sensors.hand, weave, length, random),
               {},
               {}};
  for (double t = -0.9 + sensors.warning_phase; t < length; t += sensors.warning_interval) {
    Point p;
    p.when = at(t);
    const auto* f = fault_at(t);
    p.value = f != nullptr && t >= f->from + unit.warns_after ? unit.code : 0.0;
    c.samples[3].push_back(p);
    p.value = p.value > 0.0 ? 1.0 : 0.0;
    c.samples[4].push_back(p);
  }
  c.first = at(-0.9), c.last = at(length);
  c.all_spans = {{"faults", 0, at(0.0), at(length), true}};
  return r;
}

// Faults of `duration` from `first` on, `period` apart, each up to a warning's interval late.
inline std::vector<FaultTime> fault_times(int count, double first, double duration, double period,
                                          std::mt19937_64& random) {
  std::uniform_real_distribution<double> phase{0.0, 0.05};
  std::vector<FaultTime> faults;
  for (int k = 0; k < count; ++k) {
    const double from = first + k * period + phase(random);
    faults.push_back({from, from + duration});
  }
  return faults;
}

inline ScoreResult score_faults(const KnownCapture& capture, const std::string& settings,
                                const std::vector<std::string>& roles = {"input", "output", "reference", "warning",
                                                                         "detection"}) {
  const std::vector<std::string> all{"input", "output", "reference", "warning", "detection"};
  std::vector<std::pair<std::string, SignalIndex>> signals;
  for (std::size_t i = 0; i < all.size(); ++i)
    if (std::find(roles.begin(), roles.end(), all[i]) != roles.end())
      signals.emplace_back(all[i], static_cast<SignalIndex>(i));
  return score("degraded", capture, settings, signals);
}

}  // namespace trackrod::test
