#include "harness/score/transition.hpp"

#include <Eigen/Dense>
#include <algorithm>
#include <cmath>

namespace trackrod {
namespace {

// Quadratic through the samples [begin, end) by least squares, about t0: value, slope and curvature there, and the
// standard uncertainty of a fitted value for unit noise.
struct LocalFit {
  double value{0.0}, slope{0.0}, half_curvature{0.0};
  Eigen::Matrix3d inverse;
  double unit_uncertainty(double tau) const {
    const Eigen::Vector3d p{1.0, tau, tau * tau};
    return std::sqrt(std::max(0.0, p.dot(inverse * p)));
  }
};
// `scale` makes the times about 1, so that the equations are well conditioned.
LocalFit fit_local(const std::vector<double>& t, const std::vector<double>& z, std::size_t begin, std::size_t end,
                   double t0, double scale) {
  Eigen::Matrix3d normal = Eigen::Matrix3d::Zero();
  Eigen::Vector3d right = Eigen::Vector3d::Zero();
  for (std::size_t i = begin; i < end; ++i) {
    const double tau = (t[i] - t0) / scale;
    const Eigen::Vector3d p{1.0, tau, tau * tau};
    normal += p * p.transpose();
    right += p * z[i];
  }
  LocalFit fit;
  fit.inverse = normal.inverse();
  const Eigen::Vector3d c = fit.inverse * right;
  fit.value = c[0];
  fit.slope = c[1];
  fit.half_curvature = c[2];
  return fit;
}

// Where value + slope tau + half_curvature tau^2 meets `level`, nearest to tau = 0.
std::optional<double> root_near_zero(const LocalFit& fit, double level) {
  const double c = fit.value - level, b = fit.slope, a = fit.half_curvature;
  const double root = b * b - 4.0 * a * c;
  if (root < 0.0 || b == 0.0) return std::nullopt;
  return -2.0 * c / (b + std::copysign(std::sqrt(root), b));
}

}  // namespace

Level level_at_rest(const Series& s, double from, double to, double resolution) {
  Level level;
  const std::size_t begin = s.from(from), end = s.from(to);
  level.samples = end - begin;
  if (end <= begin) return level;
  const double n = static_cast<double>(level.samples);
  double early = 0.0, late = 0.0;
  const std::size_t half = begin + level.samples / 2;
  for (std::size_t i = begin; i < end; ++i) {
    level.value += s.y[i] / n;
    (i < half ? early : late) += s.y[i];
  }
  double square = 0.0, next = 0.0;
  for (std::size_t i = begin; i < end; ++i) {
    const double d = s.y[i] - level.value;
    square += d * d;
    if (i > begin) next += d * (s.y[i - 1] - level.value);
  }
  if (level.samples < 4) return level;
  level.noise = std::sqrt(square / (n - 1.0));
  const double rho = square > 0.0 ? std::clamp(next / square, 0.0, 0.95) : 0.0;
  level.standard_uncertainty = level.noise * std::sqrt((1.0 + rho) / (1.0 - rho) / n);
  level.drift = late / static_cast<double>(end - half) - early / static_cast<double>(half - begin);
  level.drift_noise = 2.0 * level.noise / std::sqrt(n);
  // Without half a step of noise, averaging does not help against resolution: the mean may stand anywhere within a
  // step.
  if (level.noise < 0.5 * resolution) level.half_width = 0.5 * resolution;
  return level;
}

bool still_moving(const Level& level, double resolution, double allowed) {
  return std::abs(level.drift) > std::max(4.0 * level.drift_noise + resolution, allowed);
}

Transition::Transition(const Series& s, const Level& first, const Level& last, double resolution)
    : s_{s}, first_{first}, last_{last}, change_{last.value - first.value}, resolution_{resolution} {
  const double sd = std::sqrt(0.5 * (first.noise * first.noise + last.noise * last.noise));
  noise_ = sd / std::abs(change_);
  z_.reserve(s.size());
  for (const double y : s.y) z_.push_back((y - first.value) / change_);
}

std::vector<double> Transition::smoothed(std::size_t half) const {
  if (half == 0) return z_;
  std::vector<double> sum(z_.size() + 1, 0.0), out(z_.size());
  for (std::size_t i = 0; i < z_.size(); ++i) sum[i + 1] = sum[i] + z_[i];
  for (std::size_t i = 0; i < z_.size(); ++i) {
    const std::size_t reach = std::min({half, i, z_.size() - 1 - i});
    out[i] = (sum[i + reach + 1] - sum[i - reach]) / static_cast<double>(2 * reach + 1);
  }
  return out;
}

std::optional<Crossing> Transition::crossing(double share, double after) const {
  // Smooth until noise is 1 % of the change, so that it cannot cross by itself well before the waveform does.
  const double wanted = noise_ / 0.01;
  const auto half = static_cast<std::size_t>(std::min(50.0, 0.5 * (wanted * wanted - 1.0) + 0.5));
  const auto smooth = smoothed(wanted > 1.0 ? std::max<std::size_t>(1, half) : 0);
  std::size_t i = std::max<std::size_t>(1, s_.from(after));
  while (i < smooth.size() && smooth[i] < share) ++i;
  if (i >= smooth.size()) return std::nullopt;
  if (s_.t[i] - s_.t[i - 1] > 5.0 * s_.interval) return std::nullopt;

  Crossing out;
  const double rise = z_[i] - z_[i - 1];
  const double step = s_.t[i] - s_.t[i - 1];
  const double slope_here = std::max(1e-12, std::abs(rise) / step);
  out.half_width = 0.5 * resolution_ / std::abs(change_) / slope_here;
  if (i >= 2 && i + 1 < z_.size()) {  // the bow between two samples: dt^2/8 of curvature
    const double bend =
        std::max(std::abs(z_[i + 1] - 2 * z_[i] + z_[i - 1]), std::abs(z_[i] - 2 * z_[i - 1] + z_[i - 2]));
    if (noise_ < 0.1 * rise) out.half_width = std::max(out.half_width, bend / 8.0 / slope_here);
  }
  if (rise > 10.0 * noise_ && z_[i - 1] < share && z_[i] >= share) {
    const double part = (share - z_[i - 1]) / rise;
    out.t = s_.t[i - 1] + part * step;
    out.noise = noise_ * std::hypot(1.0 - part, part) / slope_here;
    return out;
  }
  // Slow against noise: a quadratic over a stretch in which the waveform rises by 12 sd, or 20 samples.
  std::size_t w = 3;
  while (w < 200 && i >= w + 2 && i + w + 1 < z_.size() && smooth[i + w] - smooth[i - 1 - w] < 12.0 * noise_) ++w;
  const std::size_t begin = i > w ? i - w - 1 : 0, end = std::min(z_.size(), i + w + 1);
  const double scale = std::max(s_.interval, 0.5 * (s_.t[end - 1] - s_.t[begin]));
  const auto fit = fit_local(s_.t, z_, begin, end, s_.t[i], scale);
  const auto tau = root_near_zero(fit, share);
  if (!tau || std::abs(*tau) > 1.5) return std::nullopt;
  const double slope = std::abs(fit.slope + 2.0 * fit.half_curvature * *tau);
  out.t = s_.t[i] + *tau * scale;
  out.noise = noise_ * fit.unit_uncertainty(*tau) / slope * scale;
  out.half_width = 0.5 * resolution_ / std::abs(change_) / slope * scale / std::sqrt(static_cast<double>(end - begin));
  return out;
}

Extent Transition::overshoot(double after) const {
  Extent out;
  const auto ten = crossing(0.1, after), ninety = crossing(0.9, after);
  if (!ten || !ninety) return out;
  const std::size_t start = s_.from(ninety->t);
  const double rise_samples = (ninety->t - ten->t) / s_.interval;
  // An eighth of the rise is short against any lobe that this rise can have.
  const bool noisy = noise_ > 1e-9;
  const auto half = noisy ? static_cast<std::size_t>(std::clamp(0.125 * rise_samples, 1.0, 200.0)) : 0;
  const auto z = smoothed(half);
  std::size_t peak = start;
  for (std::size_t i = start; i < z.size(); ++i)
    if (z[i] > z[peak]) peak = i;
  const std::size_t reach = std::max<std::size_t>(1, half);
  const std::size_t begin = peak > reach ? peak - reach : 0, end = std::min(z_.size(), peak + reach + 1);
  double value = z_[peak], unit = 1.0;
  if (end - begin >= 3) {
    const auto fit = fit_local(s_.t, z_, begin, end, s_.t[peak], static_cast<double>(reach) * s_.interval);
    double tau = 0.0;
    if (fit.half_curvature < 0.0) tau = std::clamp(-0.5 * fit.slope / fit.half_curvature, -1.0, 1.0);
    value = fit.value + fit.slope * tau + fit.half_curvature * tau * tau;
    unit = fit.unit_uncertainty(tau);
  }
  const double quantised = (0.5 * resolution_ + last_.half_width) / std::abs(change_) / std::sqrt(3.0);
  const double level = last_.standard_uncertainty / std::abs(change_);
  out.standard_uncertainty = std::sqrt(noise_ * noise_ * unit * unit + quantised * quantised + level * level);
  out.value = std::max(0.0, value - 1.0);
  // The greatest of many stretches of pure noise lies 2 to 3 sd up; only what is beyond counts.
  out.distinct = out.value > 3.5 * out.standard_uncertainty && out.value > 1e-9;
  return out;
}

std::optional<double> Transition::last_outside(const std::vector<double>& z, double band, double after) const {
  for (std::size_t i = z.size(); i-- > 0 && s_.t[i] >= after;) {
    const double beyond = std::abs(z[i] - 1.0);
    if (beyond <= band) continue;
    if (i + 1 >= z.size()) return s_.t[i];
    const double edge = z[i] > 1.0 ? 1.0 + band : 1.0 - band;
    const double part = (edge - z[i]) / (z[i + 1] - z[i]);
    return s_.t[i] + std::clamp(part, 0.0, 1.0) * (s_.t[i + 1] - s_.t[i]);
  }
  return std::nullopt;
}

std::optional<Settling> Transition::settling(double band, double after, double latest_allowed) const {
  const double wanted = 6.0 * noise_ / band;
  const auto half = wanted > 1.0 ? static_cast<std::size_t>(std::min(100.0, 0.5 * wanted * wanted + 1.0)) : 0;
  const auto z = smoothed(half);
  const double left = noise_ / std::sqrt(static_cast<double>(2 * half + 1));
  const double open = 3.0 * left + 2.0 * last_.standard_uncertainty / std::abs(change_) +
                      (last_.half_width + 0.5 * resolution_) / std::abs(change_);
  if (open >= band) return std::nullopt;
  const auto nominal = last_outside(z, band, after);
  const auto late = last_outside(z, band - open, after);
  const auto early = last_outside(z, band + open, after);
  if (!nominal || !late || *nominal > latest_allowed || *late > latest_allowed) return std::nullopt;
  const double blur = static_cast<double>(half) * s_.interval;
  Settling settling{*nominal, (early ? *early : after) - blur, *late + blur, 0.0};
  // Passed once, the waveform goes from the outer to the inner edge of what is open, at about the rate it has at the
  // band's own; lobes would make that far longer.
  const auto at = std::clamp<std::size_t>(s_.from(*nominal), 1, z.size() - 1);
  const double rate = std::abs(z[at] - z[at - 1]) / (s_.t[at] - s_.t[at - 1]);
  const double once = 2.0 * open / rate;
  if (early && rate > 0.0 && *late - *early < 2.0 * once + 2.0 * s_.interval)
    settling.noise = std::hypot(left, last_.standard_uncertainty / std::abs(change_)) / rate;
  return settling;
}

}  // namespace trackrod
