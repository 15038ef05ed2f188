#include "harness/score/loop.hpp"

#include <Eigen/Dense>
#include <algorithm>
#include <cmath>

#include "harness/score/findings.hpp"

namespace trackrod {
namespace {

constexpr double reversal_share = 0.15;  // of the sweep: a turn back by less is no reversal
constexpr std::size_t fewest_in_window = 6;

// Slope of x over t in [begin, end).
double slope_over_time(const Sweep& s, std::size_t begin, std::size_t end) {
  double n = 0, st = 0, sx = 0, stt = 0, stx = 0;
  for (std::size_t i = begin; i < end; ++i) {
    const double t = s.t[i] - s.t[begin];
    n += 1, st += t, sx += s.x[i], stt += t * t, stx += t * s.x[i];
  }
  const double spread = stt - st * st / n;
  return spread > 0.0 ? (stx - st * sx / n) / spread : 0.0;
}

}  // namespace

Sweep read_sweep(const ScoreInput& input, const Span& span) {
  Sweep sweep;
  const auto& signals = input.capture.signals();
  const auto& in = signals[input.signal("input")];
  const auto& out = signals[input.signal("output")];
  const auto x = read_series(input.capture, input.signal("input"), span.from, span.to, span.from);
  const auto y = read_series(input.capture, input.signal("output"), span.from, span.to, span.from);
  sweep.trouble = !x.trouble.empty() ? x.trouble : !y.trouble.empty() ? y.trouble : stuck(x, y, in.name, out.name);
  if (!sweep.trouble.empty()) return sweep;
  if (x.span() < std::max(20.0 * x.noise, 8.0 * in.resolution))
    sweep.trouble =
        "no motion: '" + in.name + "' moved by " + with_unit(x.span(), in.unit) + ", hardly more than its noise";
  sweep.in_noise = x.noise;
  sweep.out_noise = y.noise;
  sweep.in_half_width = x.stamp_half_width;
  sweep.out_half_width = y.stamp_half_width;
  std::size_t i = 1;
  double shares = 0.0;
  for (std::size_t k = 0; k < y.size(); ++k) {
    while (i + 1 < x.size() && x.t[i] < y.t[k]) ++i;
    const double before = x.t[i - 1], after = x.t[i];
    if (y.t[k] < before || y.t[k] > after || after - before > 5.0 * x.interval)
      continue;  // the input is not known here
    const double part = (y.t[k] - before) / (after - before);
    shares += part * part + (1.0 - part) * (1.0 - part);
    sweep.t.push_back(y.t[k]);
    sweep.x.push_back(x.y[i - 1] + part * (x.y[i] - x.y[i - 1]));
    sweep.y.push_back(y.y[k]);
  }
  if (!sweep.t.empty()) sweep.x_noise = x.noise * std::sqrt(shares / static_cast<double>(sweep.t.size()));
  if (sweep.t.size() < 50 && sweep.trouble.empty()) sweep.trouble = "too few samples at which both signals are known";
  return sweep;
}

std::vector<Branch> branches_of(const Sweep& sweep) {
  std::vector<Branch> branches;
  if (sweep.x.empty()) return branches;
  const auto [low, high] = std::minmax_element(sweep.x.begin(), sweep.x.end());
  const double enough = reversal_share * (*high - *low);
  std::vector<std::size_t> turns;  // first sample, extremes, last sample
  std::size_t least = 0, greatest = 0;
  int direction = 0;
  for (std::size_t i = 0; i < sweep.x.size(); ++i) {
    if (sweep.x[i] < sweep.x[least]) least = i;
    if (sweep.x[i] > sweep.x[greatest]) greatest = i;
    if (direction <= 0 && sweep.x[i] > sweep.x[least] + enough) {
      turns.push_back(least);
      direction = 1, greatest = i;
    } else if (direction >= 0 && sweep.x[i] < sweep.x[greatest] - enough) {
      turns.push_back(greatest);
      direction = -1, least = i;
    }
  }
  if (direction != 0) turns.push_back(direction > 0 ? greatest : least);
  for (std::size_t k = 1; k < turns.size(); ++k) {
    Branch b{&sweep, turns[k - 1], turns[k] + 1, sweep.x[turns[k]] > sweep.x[turns[k - 1]], 0.0};
    const std::size_t quarter = (b.end - b.begin) / 4;
    b.rate = std::abs(slope_over_time(sweep, b.begin + quarter, b.end - quarter));
    branches.push_back(b);
  }
  return branches;
}

std::optional<BranchReading> read_branch(const Branch& branch, double position, const ReadingRule& rule) {
  const auto& s = *branch.sweep;
  std::size_t begin = branch.end, end = branch.begin;
  bool below = false, above = false;
  for (std::size_t i = branch.begin; i < branch.end; ++i) {
    const double d = (s.x[i] - position) / rule.window;
    if (std::abs(d) > 1.0) continue;
    begin = std::min(begin, i);
    end = i + 1;
    below = below || d < -0.6;
    above = above || d > 0.6;
  }
  if (!below || !above || end - begin < fewest_in_window) return std::nullopt;
  if (s.t[begin] - s.t[branch.begin] < rule.settle) return std::nullopt;

  Eigen::Matrix3d normal = Eigen::Matrix3d::Zero();
  Eigen::Vector3d right = Eigen::Vector3d::Zero();
  for (std::size_t i = begin; i < end; ++i) {
    const double d = (s.x[i] - position) / rule.window;
    const Eigen::Vector3d p{1.0, d, d * d};
    normal += p * p.transpose();
    right += p * s.y[i];
  }
  const Eigen::Matrix3d inverse = normal.inverse();
  const Eigen::Vector3d c = inverse * right;
  // Neighbours share a sample of the input, so what is left of one resembles that of the next.
  double left = 0.0, alike = 0.0, last = 0.0;
  for (std::size_t i = begin; i < end; ++i) {
    const double d = (s.x[i] - position) / rule.window;
    const double residual = s.y[i] - c[0] - c[1] * d - c[2] * d * d;
    left += residual * residual;
    alike += residual * last;
    last = residual;
  }
  const double n = static_cast<double>(end - begin);
  const double rho = left > 0.0 ? alike / left : 0.0;
  const double memory = rho > 2.0 / std::sqrt(n) ? 1.0 + 2.0 * rho : 1.0;
  BranchReading r;
  r.output = c[0];
  r.slope = c[1] / rule.window;
  r.rate = std::abs(slope_over_time(s, begin, end));
  r.noise = std::sqrt(memory * left / std::max(1.0, n - 3.0) * inverse(0, 0));
  // Resolution averages out over the steps that the window spans, and over noise of half a step or more.
  const auto open = [&](double resolution, double travel, double noise) {
    if (resolution <= 0.0 || noise > resolution) return 0.0;
    return 0.5 * resolution / std::max(1.0, travel / resolution);
  };
  const double travel = 2.0 * rule.window;
  r.half_width = std::hypot(open(rule.out_resolution, travel * std::abs(r.slope), s.out_noise),
                            std::abs(r.slope) * open(rule.in_resolution, travel, s.in_noise));
  return r;
}

}  // namespace trackrod
