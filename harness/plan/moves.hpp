#pragma once
// Moves within limits of rate, acceleration and jerk, written as exact polynomial pieces. Pure.

#include <limits>

#include "harness/plan/motion.hpp"

namespace trackrod {

// Greatest absolute values, per second, per second^2 and per second^3; infinite = no limit.
struct Limits {
  double slew{std::numeric_limits<double>::infinity()};
  double acceleration{std::numeric_limits<double>::infinity()};
  double jerk{std::numeric_limits<double>::infinity()};
};

// A change of rate: jerk up for jerk_time, steady acceleration for steady_time, jerk down for jerk_time. The shortest
// within the limits; takes no time where neither acceleration nor jerk is limited.
struct RateChange {
  double jerk_time{0}, steady_time{0};
  static RateChange within(const Limits& limits, double change);
  double seconds() const { return 2 * jerk_time + steady_time; }
};

// Draws pieces from the end of a motion, which must be at rest there.
class Pen {
 public:
  explicit Pen(Motion& motion) : motion_{motion}, value_{motion.end} {}
  // From the present rate to `rate`.
  void change_rate(double rate, const Limits& limits);
  // On at the present rate until `value`.
  void cruise_to(double value);
  // Says that `value` is where the pen is, so that rounding does not add up.
  void set(double value);

 private:
  void draw(Piece piece);
  Motion& motion_;
  double value_, rate_{0};
};

// From rest to rest in the shortest time: the seven-segment profile (jerk, steady acceleration, jerk, steady rate and
// back down; Biagiotti and Melchiorri, "Trajectory Planning for Automatic Machines and Robots", 2008, double S; from
// memory). Segments that the limits do not ask for are left out; with no limits the value jumps.
void move_to(Motion& motion, double target, const Limits& limits);
// Keeps the last value.
void stay(Motion& motion, double seconds);

// How far a reversal from `rate` to -`rate` runs on before it turns.
double turning_distance(double rate, const Limits& limits);

}  // namespace trackrod
