#include "harness/score/lagged_line.hpp"

#include <Eigen/Dense>
#include <algorithm>
#include <array>
#include <cmath>

namespace trackrod {
namespace {

constexpr double longest_lag = 0.5, coarse_step = 0.005;  // s
constexpr std::size_t fewest = 20, coarse_samples = 400;
constexpr double moves = 10.0;  // times its noise: less motion of the reference tells nothing

// The reference at rising times, without a search for each.
class Walk {
 public:
  explicit Walk(const Series& s) : s_{s} {}
  double operator()(double t) {
    while (i_ + 1 < s_.size() && s_.t[i_ + 1] < t) ++i_;
    if (i_ + 1 >= s_.size()) return s_.y.back();
    if (t <= s_.t[i_]) return s_.y[i_];
    return s_.y[i_] + (t - s_.t[i_]) / (s_.t[i_ + 1] - s_.t[i_]) * (s_.y[i_ + 1] - s_.y[i_]);
  }

 private:
  const Series& s_;
  std::size_t i_{0};
};

struct Line {
  double level{0.0}, gain{0.0}, left{0.0};  // left: mean square
};
Line line_at(const Series& x, const Series& y, std::size_t begin, std::size_t end, std::size_t stride, double lag) {
  Walk walk{x};
  double n = 0.0, mx = 0.0, my = 0.0, xx = 0.0, xy = 0.0, yy = 0.0;
  for (std::size_t i = begin; i < end; i += stride) {
    const double a = walk(y.t[i] - lag), b = y.y[i], dx = a - mx, dy = b - my;
    n += 1.0;
    mx += dx / n, my += dy / n;
    xx += dx * (a - mx), xy += dx * (b - my), yy += dy * (b - my);
  }
  const double gain = xx > 0.0 ? xy / xx : 0.0;
  return {my - gain * mx, gain, (yy - gain * xy) / n};
}

double best_lag(const Series& x, const Series& y, std::size_t begin, std::size_t end, double most_lag) {
  const std::size_t stride = std::max<std::size_t>(1, (end - begin) / coarse_samples);
  double best = 0.0, least = INFINITY;
  for (double lag = 0.0; lag <= most_lag; lag += coarse_step)
    if (const double left = line_at(x, y, begin, end, stride, lag).left; left < least) least = left, best = lag;
  // Golden section between the neighbours.
  const double golden = 0.5 * (std::sqrt(5.0) - 1.0);
  double low = std::max(0.0, best - coarse_step), high = std::min(most_lag, best + coarse_step);
  const auto left = [&](double lag) { return line_at(x, y, begin, end, 1, lag).left; };
  double a = high - golden * (high - low), b = low + golden * (high - low), at_a = left(a), at_b = left(b);
  for (int k = 0; k < 16; ++k) {
    if (at_a < at_b) {
      high = b, b = a, at_b = at_a;
      a = high - golden * (high - low), at_a = left(a);
    } else {
      low = a, a = b, at_a = at_b;
      b = low + golden * (high - low), at_b = left(b);
    }
  }
  return 0.5 * (low + high);
}

}  // namespace

LaggedLine fit_lagged_line(const Series& reference, const Series& output, double from, double to) {
  LaggedLine out;
  if (reference.size() == 0) {
    out.trouble = "the reference has no samples";
    return out;
  }
  // A lag looks back: to where the reference has samples.
  const double most_lag = std::min(longest_lag, 0.25 * (to - from));
  const std::size_t begin = output.from(std::max(from, reference.t.front() + most_lag)), end = output.from(to);
  if (end < begin + fewest) {
    out.trouble = "only " + std::to_string(end > begin ? end - begin : 0) + " samples there";
    return out;
  }
  const auto first = reference.y.begin() + static_cast<std::ptrdiff_t>(reference.from(output.t[begin] - most_lag));
  const auto last = reference.y.begin() + static_cast<std::ptrdiff_t>(reference.from(to));
  if (first == last) {
    out.trouble = "the reference has no samples there";
    return out;
  }
  const auto [low, high] = std::minmax_element(first, last);
  out.held = *high - *low <= moves * reference.noise;
  if (!out.held) out.lag = best_lag(reference, output, begin, end, most_lag);

  Eigen::Matrix3d normal = Eigen::Matrix3d::Zero();
  std::array half_normal{normal, normal};
  std::array<Eigen::Vector3d, 2> half_right{Eigen::Vector3d::Zero(), Eigen::Vector3d::Zero()};
  const auto line = line_at(reference, output, begin, end, 1, out.lag);
  out.gain = out.held ? 0.0 : line.gain;
  out.level = line.level;
  if (out.held) {
    out.level = 0.0;
    for (std::size_t i = begin; i < end; ++i) out.level += output.y[i] / static_cast<double>(end - begin);
  }
  Walk at{reference}, before{reference}, after{reference};
  const double d = std::max(0.005, 2.0 * reference.interval);
  double square = 0.0, alike = 0.0, previous = 0.0;
  for (std::size_t i = begin; i < end; ++i) {
    const double t = output.t[i] - out.lag, x = at(t);
    const Eigen::Vector3d row{1.0, x, -out.gain * (after(t + d) - before(t - d)) / (2.0 * d)};
    normal += row * row.transpose();
    const double residual = output.y[i] - out.level - out.gain * x;
    const std::size_t half = 2 * (i - begin) < end - begin ? 0 : 1;
    half_normal[half] += row * row.transpose();
    half_right[half] += row * residual;
    square += residual * residual;
    alike += residual * previous;
    previous = residual;
    out.greatest_residual = std::max(out.greatest_residual, std::abs(residual));
  }
  out.residual = std::sqrt(square / static_cast<double>(end - begin));
  if (out.held) return out;
  // What is left of one sample resembles that of the next: fewer samples than it seems.
  const double rho = square > 0.0 ? std::clamp(alike / square, 0.0, 0.98) : 0.0;
  const double variance = square / static_cast<double>(end - begin - 3) * (1.0 + rho) / (1.0 - rho);
  const Eigen::Matrix3d inverse = normal.completeOrthogonalDecomposition().pseudoInverse();
  out.gain_noise = std::sqrt(std::max(0.0, variance * inverse(1, 1)));
  out.lag_noise = std::sqrt(std::max(0.0, variance * inverse(2, 2)));
  const Eigen::Vector3d apart = half_normal[0].completeOrthogonalDecomposition().solve(half_right[0]) -
                                half_normal[1].completeOrthogonalDecomposition().solve(half_right[1]);
  out.gain_left_open = 0.5 * std::abs(apart[1]);
  out.lag_left_open = 0.5 * std::abs(apart[2]);
  return out;
}

}  // namespace trackrod
