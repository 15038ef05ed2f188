#pragma once
// What one driven value does over time, as a list of closed-form pieces. Pure.

#include <array>
#include <limits>
#include <vector>

#include "harness/base/sample.hpp"
#include "harness/base/time.hpp"

namespace trackrod {

// A stretch of a driven value: value(t) = c0 + c1 t + c2 t^2 + c3 t^3 + envelope(t) * amplitude * sin(angle(t)),
// t in seconds from the start of the piece. angle(t) = phase + rate t + gain t^2 / 2, or, with `growth`,
// phase + rate (exp(growth t) - 1) / growth: the angular rate begins at `rate` and rises evenly, or by one factor in
// equal times. The envelope rises from 0 to 1 over the first fade_in seconds and falls
// back over the last fade_out, as 10 u^3 - 15 u^4 + 6 u^5, so that rate and acceleration start and end at zero.
struct Piece {
  double begin{0}, length{0};  // seconds; `begin` counts from the start of the motion
  double c0{0}, c1{0}, c2{0}, c3{0};
  double amplitude{0}, rate{0}, phase{0};
  double gain{0}, growth{0};  // rad/s^2, 1/s; at most one of them not 0
  double fade_in{0}, fade_out{0};

  double at(double t) const noexcept;
  // Angular rate of the wave.
  double angular_rate(double t) const noexcept;
  // Value, rate, acceleration and jerk.
  std::array<double, 4> derivatives(double t) const noexcept;
};

// Pieces one after another; the last value is kept after the end. Loop-safe: at() neither allocates nor blocks.
struct Motion {
  double start{0};  // the value before the motion
  double end{0};    // the value from its end on, exactly
  std::vector<Piece> pieces;

  Motion() = default;
  explicit Motion(double from) : start{from}, end{from} {}
  double seconds() const noexcept;
  double at(Duration t) const noexcept;
  // Puts `piece` behind the others and sets its `begin`. `reached` becomes `end`.
  void append(Piece piece, double reached);
};

// To whole nanoseconds.
Duration rounded_up(double seconds);

struct Channel {
  SignalIndex signal{no_signal};
  Motion motion;
};

// The extremes of a stretch. Rate, acceleration and jerk are absolute values, infinite where there is a jump.
struct Extent {
  double low{std::numeric_limits<double>::infinity()}, high{-std::numeric_limits<double>::infinity()};
  double rate{0}, acceleration{0}, jerk{0};
  void include(const Extent& other);
};

// Of the piece between two of its instants. Exact for polynomials and for whole cycles of a sine; otherwise found on a
// grid of 64 points a cycle and refined.
Extent extent(const Piece& piece, double from, double to);
// Of the whole motion, taken to start from rest and to end at rest, the joints between its pieces included.
Extent extent(const Motion& motion);
// Least and greatest value between two instants, in seconds from the start of the motion.
Extent values_between(const Motion& motion, double from, double to);

}  // namespace trackrod
