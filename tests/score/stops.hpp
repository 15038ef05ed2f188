#pragma once
// End stops in closed form: torque = friction + stiffness (angle - stop) + damping rate beyond the stop, friction alone
// before it.

#include "tests/score/known.hpp"

namespace trackrod::test {

struct Stop {
  double positive{165.0}, negative{-161.0};  // deg
  double stiffness{2.0};                     // Nm/deg
  double damping{0.0};                       // Nm s/deg, at the stop
  double friction{0.4};                      // Nm
  double hardening{0.0};                     // Nm/deg^2
  double sign{1.0};                          // of the torque sensor
};

struct Drive {
  std::vector<double> rates{20.0, 20.0, 20.0};  // deg/s, of each run to both sides
  double beyond{4.0};                           // deg
  double hold{0.5};                             // s, at the stop
};

// To 10 deg before the stop quickly, beyond it at the rate, held, back to 0 and to the other side; once for each rate.
struct Course {
  std::vector<std::pair<double, double>> corners;  // s, deg
  double length() const { return corners.back().first; }
  double at(double t) const {
    if (t <= corners.front().first) return corners.front().second;
    for (std::size_t i = 1; i < corners.size(); ++i)
      if (t < corners[i].first) {
        const double part = (t - corners[i - 1].first) / (corners[i].first - corners[i - 1].first);
        return corners[i - 1].second + part * (corners[i].second - corners[i - 1].second);
      }
    return corners.back().second;
  }
};

inline Course course_of(const Stop& stop, const Drive& drive) {
  Course c{{{0.0, 0.0}}};
  const auto go = [&](double to, double rate) {
    c.corners.emplace_back(c.corners.back().first + std::abs(to - c.corners.back().second) / rate, to);
  };
  const auto wait = [&](double s) {
    if (s > 0.0) c.corners.emplace_back(c.corners.back().first + s, c.corners.back().second);
  };
  for (const double rate : drive.rates)
    for (const double end : {stop.positive, stop.negative}) {
      const double side = end > 0.0 ? 1.0 : -1.0;
      go(end - 10.0 * side, 200.0);
      go(end + drive.beyond * side, rate);
      wait(drive.hold);
      go(0.0, 200.0);
    }
  return c;
}

struct Errors {
  double angle_noise{0.005}, torque_noise{0.01};
  double zero{0.0}, torque_gain{1.0};
};

inline KnownCapture pushed(const Stop& stop, const Drive& drive, std::uint64_t seed, const Errors& errors = {}) {
  const auto course = course_of(stop, drive);
  const double length = course.length();
  const auto angle = [&](double t) { return course.at(t) + errors.zero; };
  const auto torque = [&](double t) {
    const double x = course.at(t), v = (course.at(t + 1e-5) - course.at(t - 1e-5)) / 2e-5;
    double y = v > 0.0 ? stop.friction : v < 0.0 ? -stop.friction : x > 0.0 ? stop.friction : -stop.friction;
    const double past = x > stop.positive ? x - stop.positive : x < stop.negative ? x - stop.negative : 0.0;
    if (past != 0.0) y += stop.stiffness * past + stop.hardening * past * std::abs(past) + stop.damping * v;
    return stop.sign * errors.torque_gain * y;
  };
  std::mt19937_64 random{seed};
  Sensor hand, cell;
  hand.noise = errors.angle_noise, hand.phase = 0.0003;
  cell.noise = errors.torque_noise, cell.phase = 0.0007;
  KnownCapture c;
  c.infos = {info_of(hand, "hand.angle", "hand"), info_of(cell, "hand.torque", "hand")};
  c.infos[1].unit = "Nm";
  c.samples = {sense(hand, angle, length, random), sense(cell, torque, length, random)};
  c.first = at(-0.95), c.last = at(length);
  c.all_spans = {{"stops", 0, at(0.0), at(length), true}};
  return c;
}

}  // namespace trackrod::test
