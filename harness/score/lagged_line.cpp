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

// Which side of the gap pushes at each of the output's samples: 1 upwards, -1 downwards; 0: on its way, or not known
// yet.
std::vector<int> sides_of(const Series& x, const Series& y, std::size_t begin, std::size_t end, double lag,
                          double gap) {
  constexpr double sure = 3.0, near = 2.0;  // times the noise: moved beyond the gap, and still at its end
  const double half = 0.5 * gap + sure * x.noise;
  Walk walk{x};
  double low = INFINITY, high = -INFINITY, at = 0.0;
  bool known = false;
  std::vector<int> sides;
  for (std::size_t i = begin; i < end; ++i) {
    const double v = walk(y.t[i] - lag);
    low = std::min(low, v), high = std::max(high, v);
    if (!known && high - low > 2.0 * half) known = true, at = v > low + half ? low : high;
    const auto before = at;
    at = std::clamp(at, v - half, v + half);
    const double reach = half - near * x.noise;
    sides.push_back(!known ? 0 : v > before && v - at >= reach ? 1 : v < before && at - v >= reach ? -1 : 0);
  }
  return sides;
}

// The line with its gap, by least squares that go on from the lag of a line without.
class GappedFit {
 public:
  GappedFit(const Series& reference, const Series& output, std::size_t begin, std::size_t end)
      : x_{reference}, y_{output}, begin_{begin}, end_{end} {}
  void improve(LaggedLine& line) {
    constexpr int most_turns = 12;
    constexpr double enough = 1e-7;  // s
    for (int turn = 0; turn < most_turns; ++turn) {
      read(line);
      const Eigen::Vector4d by = solved(normal_) * right_;
      line.level += by[0], line.gain += by[1], line.lag += by[2], line.play += by[3];
      if (turn > 2 && std::abs(by[2]) < enough) break;
    }
    read(line);
    const auto inverse = solved(normal_);
    const double freedom = std::max(1.0, count_ - static_cast<double>(columns()));
    // What is left of one sample resembles that of the next: fewer samples than it seems.
    const double rho = square_ > 0.0 ? std::clamp(alike_ / square_, 0.0, 0.98) : 0.0;
    const Eigen::Matrix4d covariance = square_ / freedom * (1.0 + rho) / (1.0 - rho) * inverse;
    Eigen::Matrix4d by_block = Eigen::Matrix4d::Zero();
    for (const auto& b : blocks_) by_block += inverse * b * b.transpose() * inverse;
    by_block *= static_cast<double>(blocks) / static_cast<double>(blocks - columns());
    const auto u = [&](int which) {
      const double noise = covariance(which, which), pulled = by_block(which, which);
      return std::sqrt(std::max(0.0, pulled > chance * noise ? pulled : noise));
    };
    line.gain_noise = u(1), line.lag_noise = u(2);
    line.residual = std::sqrt(square_ / std::max(1.0, count_)), line.greatest_residual = greatest_;
    // A gap that does not show is none.
    if (both_ && line.play < shows * u(3)) line.play = 0.0;
  }

 private:
  static constexpr int blocks = 16;
  static constexpr double shows = 3.0;   // standard uncertainties
  static constexpr double chance = 2.0;  // ratio of variances that noise alone hardly makes

  int columns() const { return both_ ? 4 : 3; }
  // The inverse; 0 where a column is.
  static Eigen::Matrix4d solved(const Eigen::Matrix4d& normal) {
    const Eigen::Vector4d scale = normal.diagonal().cwiseMax(1e-300).cwiseSqrt().cwiseInverse();
    const Eigen::Matrix4d scaled = scale.asDiagonal() * normal * scale.asDiagonal();
    const Eigen::Matrix4d inverse = scaled.completeOrthogonalDecomposition().pseudoInverse();
    return scale.asDiagonal() * inverse * scale.asDiagonal();
  }
  void read(const LaggedLine& line) {
    const double gap = std::max(0.0, line.play) / std::max(std::abs(line.gain), 1e-300);
    const auto sides = sides_of(x_, y_, begin_, end_, line.lag, gap);
    const auto up = std::count(sides.begin(), sides.end(), 1), down = std::count(sides.begin(), sides.end(), -1);
    both_ = std::min(up, down) >= static_cast<std::ptrdiff_t>(fewest);
    // Of one side alone the gap cannot be told: it stays as it is.
    const int only = up > down ? 1 : -1;
    const auto counts = [&](int side) { return both_ ? side != 0 : side == only; };
    const auto counted = static_cast<std::size_t>(both_ ? up + down : std::max(up, down));
    const double d = std::max(0.005, 2.0 * x_.interval), way = line.gain < 0.0 ? -1.0 : 1.0;
    Walk at{x_}, before{x_}, after{x_};
    normal_.setZero(), right_.setZero(), blocks_.fill(Eigen::Vector4d::Zero());
    square_ = alike_ = count_ = greatest_ = 0.0;
    double previous = 0.0;
    for (std::size_t i = begin_; i < end_; ++i) {
      const double t = y_.t[i] - line.lag, x = at(t), rise = after(t + d) - before(t - d);
      const int side = sides[i - begin_];
      if (!counts(side)) continue;
      const Eigen::Vector4d row{1.0, x, -line.gain * rise / (2.0 * d), both_ ? -0.5 * way * side : 0.0};
      const double residual = y_.y[i] - line.level - line.gain * x + 0.5 * way * side * line.play;
      normal_ += row * row.transpose();
      right_ += row * residual;
      blocks_[static_cast<std::size_t>(count_) * blocks / counted] += row * residual;
      square_ += residual * residual, alike_ += residual * previous, count_ += 1.0;
      greatest_ = std::max(greatest_, std::abs(residual));
      previous = residual;
    }
  }

  const Series &x_, &y_;
  std::size_t begin_, end_;
  bool both_{false};
  Eigen::Matrix4d normal_;  // level, gain, lag, play
  Eigen::Vector4d right_;
  std::array<Eigen::Vector4d, blocks> blocks_;  // what part of the samples pulls each way
  double square_{0.0}, alike_{0.0}, count_{0.0}, greatest_{0.0};
};

}  // namespace

LaggedLine fit_lagged_line(const Series& reference, const Series& output, double from, double to, double play) {
  LaggedLine out;
  out.play = play;
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

  const auto line = line_at(reference, output, begin, end, 1, out.lag);
  out.gain = out.held ? 0.0 : line.gain;
  out.level = line.level;
  if (!out.held) {
    GappedFit{reference, output, begin, end}.improve(out);
    return out;
  }
  out.level = out.play = 0.0;
  const auto n = static_cast<double>(end - begin);
  for (std::size_t i = begin; i < end; ++i) out.level += output.y[i] / n;
  double square = 0.0;
  for (std::size_t i = begin; i < end; ++i) {
    const double residual = std::abs(output.y[i] - out.level);
    square += residual * residual;
    out.greatest_residual = std::max(out.greatest_residual, residual);
  }
  out.residual = std::sqrt(square / n);
  return out;
}

std::vector<double> LaggedLine::course(const Series& reference, const std::vector<double>& times) const {
  std::vector<double> out;
  Walk walk{reference};
  for (const double t : times) {
    const double middle = held ? level : level + gain * walk(t - lag);
    out.push_back(std::clamp(out.empty() ? middle : out.back(), middle - 0.5 * play, middle + 0.5 * play));
  }
  return out;
}

}  // namespace trackrod
