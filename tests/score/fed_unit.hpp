#pragma once
// A unit in closed form that holds out for a time below its threshold, then stops, and works again a start time after
// the voltage is back at a higher one.

#include "tests/score/known.hpp"

namespace trackrod::test {

struct Fed {
  double hold_out{0.050}, stops_below{6.5}, starts_from{8.0}, start_time{0.300};  // s, V, V, s
  bool returns{true};
  // Of a unit that scatters, added at a time: s to hold_out, V to stops_below.
  std::function<double(double)> longer{}, sooner{};
};

// Voltage by corners (s, V), in straight lines; state 2 while it works, "no value" while it does not.
inline KnownCapture fed(const Fed& unit, const std::vector<std::pair<double, double>>& corners, std::uint64_t seed,
                        double volt_interval = 0.002, double volt_noise = 0.005) {
  const double length = corners.back().first;
  const auto volts = [&](double t) {
    const auto next = std::lower_bound(corners.begin() + 1, corners.end() - 1, t,
                                       [](const auto& corner, double when) { return corner.first < when; });
    const auto& [t0, v0] = *(next - 1);
    const auto& [t1, v1] = *next;
    return v0 + std::clamp((t - t0) / (t1 - t0), 0.0, 1.0) * (v1 - v0);
  };
  std::mt19937_64 random{seed};
  Sensor meter;
  meter.noise = volt_noise, meter.interval = volt_interval, meter.phase = 0.0007;
  KnownCapture c;
  c.infos = {info_of(meter, "volts", "supply"), info_of(Sensor{}, "state", "unit")};
  c.infos[0].unit = "V", c.infos[1].unit = "1";
  c.samples = {sense(meter, volts, length, random), {}};
  bool works = true;
  double low_since = 1e9, good_since = -1e9;
  for (double t = -0.5; t < length; t += 1e-4) {
    const double v = volts(t);
    low_since = v < unit.stops_below + (unit.sooner ? unit.sooner(t) : 0.0) ? std::min(low_since, t) : 1e9;
    good_since = v >= unit.starts_from ? (good_since < -1e8 ? t : good_since) : -1e9;
    if (works && t - low_since >= unit.hold_out + (unit.longer ? unit.longer(t) : 0.0)) works = false;
    if (!works && unit.returns && good_since > -1e8 && t - good_since >= unit.start_time) works = true;
    const auto tick = static_cast<long>(std::lround(t * 1e4));
    if (tick % 50 != 0) continue;  // every 5 ms
    Point p;
    p.when = at(t);
    p.value = works ? 2.0 : std::nan("");
    c.samples[1].push_back(p);
  }
  c.first = at(-0.5), c.last = at(length);
  c.all_spans = {{"drops", 0, at(0.0), at(length), true}};
  return c;
}

struct Dip {
  double length{0.0}, lowest{2.0};  // s, V
};
// Dips from 13.5 V with edges of 1 ms; the first one begins after 1 s, and `apart` s lie between two.
inline std::vector<std::pair<double, double>> dips(const std::vector<Dip>& all, double apart) {
  std::vector<std::pair<double, double>> corners{{-1.0, 13.5}};
  double t = 1.0;
  for (const auto& [length, lowest] : all) {
    corners.insert(corners.end(), {{t, 13.5}, {t + 0.001, lowest}, {t + length, lowest}, {t + length + 0.001, 13.5}});
    t += length + apart;
  }
  corners.emplace_back(t, 13.5);
  return corners;
}
// Drop-outs to 2 V of these lengths, 2 s apart.
inline std::vector<std::pair<double, double>> drops(const std::vector<double>& lengths) {
  std::vector<Dip> all;
  for (const double length : lengths) all.push_back({length});
  return dips(all, 2.0);
}

// Two feeds: one goes away at 1.0 s, 4.0 s, ... for 1 s. At the connector the voltage falls from 13.5 V for 10 ms, to
// `lowest`, and is at 12.8 V another 5 ms later, when the other feed carries.
inline KnownCapture two_feeds(const Fed& unit, double lowest, int count, std::uint64_t seed, double noise = 0.005) {
  std::vector<std::pair<double, double>> joint{{-1.0, 13.5}}, feed = joint;
  for (int k = 0; k < count; ++k) {
    const double t = 1.0 + 3.0 * k;
    joint.insert(joint.end(), {{t, 13.5}, {t + 0.010, lowest}, {t + 0.015, 12.8}, {t + 1.0, 12.8}, {t + 1.001, 13.5}});
    feed.insert(feed.end(), {{t, 13.5}, {t + 0.001, 0.0}, {t + 1.0, 0.0}, {t + 1.001, 13.5}});
  }
  joint.emplace_back(3.0 * count, 13.5), feed.emplace_back(3.0 * count, 13.5);
  auto c = fed(unit, joint, seed, 0.001, noise);
  const auto other = fed(unit, feed, seed + 1, 0.001, noise);
  c.infos.push_back(other.infos[0]);
  c.infos.back().name = "feed";
  c.samples.push_back(other.samples[0]);
  return c;
}

}  // namespace trackrod::test
