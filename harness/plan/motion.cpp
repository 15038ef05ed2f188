#include "harness/plan/motion.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

namespace trackrod {
namespace {

using Derivatives = std::array<double, 4>;
constexpr double infinity = std::numeric_limits<double>::infinity();

// Smooth rise from 0 at u = 0 to 1 at u = 1 and its derivatives by u. At the two ends the third one is that from
// inside.
Derivatives rise(double u) {
  constexpr double rounding = 1e-12;
  if (u < -rounding) return {0, 0, 0, 0};
  if (u > 1 + rounding) return {1, 0, 0, 0};
  const double u2 = u * u;
  return {u2 * u * (10 - 15 * u + 6 * u2), u2 * (30 - 60 * u + 30 * u2), u * (60 - 180 * u + 120 * u2),
          60 - 360 * u + 360 * u2};
}

// Angle of the wave and its derivatives.
Derivatives angle(const Piece& p, double t) {
  if (p.growth == 0) return {p.phase + t * (p.rate + 0.5 * p.gain * t), p.rate + p.gain * t, p.gain, 0};
  const double rate = p.rate * std::exp(p.growth * t);
  return {p.phase + p.rate * std::expm1(p.growth * t) / p.growth, rate, p.growth * rate, p.growth * p.growth * rate};
}

// Product rule up to the third derivative.
Derivatives product(const Derivatives& f, const Derivatives& g) {
  return {f[0] * g[0], f[1] * g[0] + f[0] * g[1], f[2] * g[0] + 2 * f[1] * g[1] + f[0] * g[2],
          f[3] * g[0] + 3 * f[2] * g[1] + 3 * f[1] * g[2] + f[0] * g[3]};
}

Derivatives fade(double t, double length) {
  auto e = rise(t / length);
  for (std::size_t i = 1; i < 4; ++i) e[i] /= std::pow(length, static_cast<double>(i));
  return e;
}

void include_point(Extent& e, const Derivatives& d) {
  e.low = std::min(e.low, d[0]);
  e.high = std::max(e.high, d[0]);
  e.rate = std::max(e.rate, std::abs(d[1]));
  e.acceleration = std::max(e.acceleration, std::abs(d[2]));
  e.jerk = std::max(e.jerk, std::abs(d[3]));
}

// A cubic has its extremes at the ends and where the next derivative is zero.
Extent cubic_extent(const Piece& p, double from, double to) {
  Extent e;
  const auto look = [&](double t) {
    if (t >= from && t <= to) include_point(e, p.derivatives(t));
  };
  look(from);
  look(to);
  const double a = 3 * p.c3, b = 2 * p.c2, c = p.c1;  // rate = a t^2 + b t + c
  if (a != 0) {
    look(-b / (2 * a));
    if (const double inside = b * b - 4 * a * c; inside >= 0) {
      const double q = -0.5 * (b + std::copysign(std::sqrt(inside), b));
      look(q / a);
      if (q != 0) look(c / q);
    }
  } else if (b != 0) {
    look(-c / b);
  }
  return e;
}

// Where f is greatest between the two, by golden section; f has one peak there.
template <class F>
double refine(const F& f, double low, double high) {
  constexpr double share = 0.6180339887498949;
  for (int i = 0; i < 40; ++i) {
    const double width = share * (high - low), left = high - width, right = low + width;
    (f(left) < f(right) ? low : high) = f(left) < f(right) ? left : right;
  }
  return 0.5 * (low + high);
}

// The five things sought of a piece, each the greatest of its function: -value, value, |rate|, |acceleration|, |jerk|.
double measured(const Piece& p, std::size_t which, double t) {
  const auto d = p.derivatives(t);
  return which == 0 ? -d[0] : which == 1 ? d[0] : std::abs(d[which - 1]);
}

Extent sampled_extent(const Piece& p, double from, double to) {
  const double fastest = std::max(std::abs(p.angular_rate(from)), std::abs(p.angular_rate(to)));
  const double cycles = (to - from) * fastest / (2 * std::numbers::pi);
  const auto n = std::max(32, static_cast<int>(std::ceil(64 * cycles)));
  const double step = (to - from) / n;
  const auto time = [&](int i) { return std::clamp(from + i * step, from, to); };
  Extent e;
  std::vector<double> values(static_cast<std::size_t>(n) + 1);
  for (std::size_t which = 0; which < 5; ++which) {
    for (int i = 0; i <= n; ++i) values[i] = measured(p, which, time(i));
    const auto [least, greatest] = std::minmax_element(values.begin(), values.end());
    // Each peak of the grid that the true greatest value may lie beside.
    const double worth = *greatest - 0.02 * (*greatest - *least);
    for (int i = 0; i <= n; ++i) {
      const bool peak =
          values[i] >= worth && (i == 0 || values[i] >= values[i - 1]) && (i == n || values[i] >= values[i + 1]);
      if (!peak) continue;
      include_point(e, p.derivatives(time(i)));
      include_point(e,
                    p.derivatives(refine([&](double t) { return measured(p, which, t); }, time(i - 1), time(i + 1))));
    }
  }
  return e;
}

// Tells whether two values that should meet do not, beyond rounding.
bool apart(double a, double b, double scale) { return std::abs(a - b) > 1e-9 * scale + 1e-12; }

}  // namespace

double Piece::at(double t) const noexcept {
  double value = c0 + t * (c1 + t * (c2 + t * c3));
  if (amplitude != 0) {
    double wave = amplitude * std::sin(angle(*this, t)[0]);
    if (fade_in > 0) wave *= rise(t / fade_in)[0];
    if (fade_out > 0) wave *= rise((length - t) / fade_out)[0];
    value += wave;
  }
  return value;
}

double Piece::angular_rate(double t) const noexcept { return angle(*this, t)[1]; }

std::array<double, 4> Piece::derivatives(double t) const noexcept {
  Derivatives d{c0 + t * (c1 + t * (c2 + t * c3)), c1 + t * (2 * c2 + 3 * c3 * t), 2 * c2 + 6 * c3 * t, 6 * c3};
  if (amplitude == 0) return d;
  const auto [turned, w, w1, w2] = angle(*this, t);
  const double s = amplitude * std::sin(turned), c = amplitude * std::cos(turned);
  Derivatives wave{s, w * c, w1 * c - w * w * s, (w2 - w * w * w) * c - 3 * w * w1 * s};
  if (fade_in > 0) wave = product(wave, fade(t, fade_in));
  if (fade_out > 0) {
    auto e = fade(length - t, fade_out);
    e[1] = -e[1];  // time runs backwards in it
    e[3] = -e[3];
    wave = product(wave, e);
  }
  for (std::size_t i = 0; i < 4; ++i) d[i] += wave[i];
  return d;
}

double Motion::seconds() const noexcept { return pieces.empty() ? 0.0 : pieces.back().begin + pieces.back().length; }

// A thousandth of a count is rounding: 0.1 s, which no double holds, is to stay 100 000 000 ns.
Duration rounded_up(double seconds) { return Duration{static_cast<Duration::rep>(std::ceil(seconds * 1e9 - 1e-3))}; }

double Motion::at(Duration t) const noexcept {
  const double s = trackrod::seconds(t);
  if (pieces.empty() || s >= seconds()) return end;
  const auto after =
      std::upper_bound(pieces.begin(), pieces.end(), s, [](double v, const Piece& p) { return v < p.begin; });
  if (after == pieces.begin()) return start;
  const auto& piece = *(after - 1);
  return piece.at(s - piece.begin);
}

void Motion::append(Piece piece, double reached) {
  piece.begin = seconds();
  if (piece.length > 0) pieces.push_back(piece);
  end = reached;
}

void Extent::include(const Extent& other) {
  low = std::min(low, other.low);
  high = std::max(high, other.high);
  rate = std::max(rate, other.rate);
  acceleration = std::max(acceleration, other.acceleration);
  jerk = std::max(jerk, other.jerk);
}

Extent extent(const Piece& p, double from, double to) {
  if (p.amplitude == 0) return cubic_extent(p, from, to);
  // The third derivative jumps where the fades begin and end, so each part is looked at by itself.
  const double steady_from = std::clamp(p.fade_in, from, to),
               steady_to = std::clamp(p.length - p.fade_out, steady_from, to);
  Extent e;
  if (from < steady_from) e.include(sampled_extent(p, from, steady_from));
  if (steady_to < to) e.include(sampled_extent(p, steady_to, to));
  const bool whole_cycle = (steady_to - steady_from) * std::abs(p.rate) >= 2 * std::numbers::pi * (1 - 1e-12);
  const double a = std::abs(p.amplitude), w = std::abs(p.rate);
  const bool even = p.gain == 0 && p.growth == 0;
  if (even && whole_cycle && p.c1 == 0 && p.c2 == 0 && p.c3 == 0)
    e.include({p.c0 - a, p.c0 + a, a * w, a * w * w, a * w * w * w});
  else
    e.include(sampled_extent(p, steady_from, steady_to));
  return e;
}

Extent extent(const Motion& motion) {
  Extent whole;
  whole.low = std::min(motion.start, motion.end);
  whole.high = std::max(motion.start, motion.end);
  for (const auto& p : motion.pieces) whole.include(extent(p, 0, p.length));
  Derivatives before{motion.start, 0, 0, 0};
  bool jump = false, corner = false, kink = false;
  const auto joint = [&](const Derivatives& after) {
    jump = jump || apart(before[0], after[0], std::max(std::abs(whole.low), std::abs(whole.high)));
    corner = corner || apart(before[1], after[1], whole.rate);
    kink = kink || apart(before[2], after[2], whole.acceleration);
  };
  for (const auto& p : motion.pieces) {
    joint(p.derivatives(0));
    before = p.derivatives(p.length);
  }
  joint({motion.end, 0, 0, 0});
  if (jump) whole.rate = infinity;
  if (jump || corner) whole.acceleration = infinity;
  if (jump || corner || kink) whole.jerk = infinity;
  return whole;
}

Extent values_between(const Motion& motion, double from, double to) {
  Extent e;
  for (const auto& p : motion.pieces) {
    const double a = std::max(from - p.begin, 0.0), b = std::min(to - p.begin, p.length);
    if (a <= b) e.include(extent(p, a, b));
  }
  if (to >= motion.seconds()) e.low = std::min(e.low, motion.end), e.high = std::max(e.high, motion.end);
  return e;
}

}  // namespace trackrod
