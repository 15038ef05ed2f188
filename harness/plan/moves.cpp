#include "harness/plan/moves.hpp"

#include <algorithm>
#include <cmath>

namespace trackrod {
namespace {

// The greatest rate reached by a move over `distance` that is limited in acceleration and jerk alone.
double peak_rate(double distance, const Limits& limits) {
  const double a = limits.acceleration, j = limits.jerk;
  if (std::isfinite(j)) {
    // No steady acceleration: distance = 2 rate sqrt(rate / j).
    const double rate = std::cbrt(0.25 * distance * distance * j);
    if (!std::isfinite(a) || rate <= a * a / j) return rate;
  }
  if (!std::isfinite(a)) return limits.slew;
  // With steady acceleration: distance = rate a / j + rate^2 / a.
  const double lost = std::isfinite(j) ? a / j : 0.0;
  return 0.5 * a * (std::sqrt(lost * lost + 4 * distance / a) - lost);
}

}  // namespace

RateChange RateChange::within(const Limits& limits, double change) {
  const double v = std::abs(change), a = limits.acceleration, j = limits.jerk;
  if (!std::isfinite(a) && !std::isfinite(j)) return {};
  if (!std::isfinite(j)) return {0, v / a};
  if (!std::isfinite(a) || v <= a * a / j) return {std::sqrt(v / j), 0};
  return {a / j, v / a - a / j};
}

void Pen::draw(Piece piece) {
  piece.c0 = value_;
  value_ = piece.at(piece.length);
  motion_.append(piece, value_);
}

void Pen::change_rate(double rate, const Limits& limits) {
  const double change = rate - rate_;
  const auto times = RateChange::within(limits, change);
  if (times.seconds() > 0) {
    const double acceleration = change / (times.jerk_time + times.steady_time);
    const double jerk = times.jerk_time > 0 ? acceleration / times.jerk_time : 0.0;
    Piece up, steady, down;
    up.length = times.jerk_time;
    up.c1 = rate_;
    up.c3 = jerk / 6;
    steady.length = times.steady_time;
    steady.c1 = rate_ + acceleration * times.jerk_time / 2;
    steady.c2 = acceleration / 2;
    down.length = times.jerk_time;
    down.c1 = rate - acceleration * times.jerk_time / 2;
    down.c2 = acceleration / 2;
    down.c3 = -jerk / 6;
    draw(up);
    draw(steady);
    draw(down);
  }
  rate_ = rate;
}

void Pen::cruise_to(double value) {
  Piece piece;
  piece.length = std::max(0.0, (value - value_) / rate_);
  piece.c1 = rate_;
  draw(piece);
  set(value);
}

void Pen::set(double value) {
  value_ = value;
  motion_.end = value;
}

void move_to(Motion& motion, double target, const Limits& limits) {
  const double distance = target - motion.end;
  const double peak = std::min(limits.slew, peak_rate(std::abs(distance), limits));
  if (distance != 0 && std::isfinite(distance) && std::isfinite(peak)) {
    const double rate = std::copysign(peak, distance);
    // A change of rate covers the mean rate times its time.
    const double braking = 0.5 * rate * RateChange::within(limits, rate).seconds();
    Pen pen{motion};
    pen.change_rate(rate, limits);
    // Where the peak follows from the distance nothing is left between the two changes but rounding.
    const double rest = target - braking - motion.end;
    if (std::abs(rest) > 1e-12 * std::abs(distance)) pen.cruise_to(target - braking);
    pen.change_rate(0, limits);
  }
  motion.end = target;
}

void stay(Motion& motion, double seconds) {
  Piece piece;
  piece.length = seconds;
  piece.c0 = motion.end;
  motion.append(piece, motion.end);
}

double turning_distance(double rate, const Limits& limits) {
  const auto times = RateChange::within(limits, 2 * rate);
  if (times.seconds() <= 0) return 0;
  const double acceleration = 2 * rate / (times.jerk_time + times.steady_time);
  // Half of the steady part lies before the turn; the rate left at its start is acceleration * steady_time / 2.
  const double half = 0.5 * times.steady_time, jerk_time = times.jerk_time;
  return rate * jerk_time - acceleration * jerk_time * jerk_time / 6 + 0.5 * acceleration * half * half;
}

}  // namespace trackrod
