#include "harness/score/lag_fitter.hpp"

#include <algorithm>
#include <cmath>
#include <limits>

namespace trackrod {
namespace {

using Eigen::MatrixXd;
using Eigen::VectorXd;
using P = LagParameter;

double& parameter(LagModel& m, int which) {
  switch (which) {
    case P::dead_time:
      return m.dead_time;
    case P::gain:
      return m.gain;
    case P::offset:
      return m.offset;
    case P::shape:
      return m.natural;
    case P::damping:
      return m.damping;
    case P::play:
      return m.play;
    default:
      return m.friction;
  }
}
constexpr double explored_length = 20.0;  // s of motion on which starting points are compared

bool on_log_scale(int which) { return which == P::shape || which == P::damping; }

LagModel moved(LagModel m, int which, double by) {
  auto& p = parameter(m, which);
  p = on_log_scale(which) ? p * std::exp(by) : p + by;
  if (which == P::play || which == P::friction) p = std::max(0.0, p);
  if (which == P::damping) p = std::clamp(p, 0.05, 5.0);
  return m;
}

// Sum over all distances of (correlation of the residuals) x (product sum of the influences): the variance of
// sum(influence * residual) for residuals that resemble their neighbours. `sizes`: of the stretches.
struct Spread {
  double variance{0.0};
  double effective{0.0};  // independent residuals that carry it
};
Spread spread_of(const VectorXd& influence, const VectorXd& residual, const std::vector<std::size_t>& sizes) {
  const VectorXd weighted = influence.cwiseAbs().cwiseProduct(residual);
  const double weight = influence.squaredNorm();
  const double power = weighted.squaredNorm();
  Spread out;
  if (!(weight > 0.0) || !(power > 0.0)) return out;
  const double variance = power / weight;  // of a residual, where it matters
  double products = weight, memory = 1.0;
  const std::size_t shortest = *std::min_element(sizes.begin(), sizes.end());
  const std::size_t most = std::min<std::size_t>(400, shortest / 4);
  for (std::size_t k = 1; k <= most; ++k) {
    double alike = 0.0, product = 0.0;
    Eigen::Index begin = 0;
    for (const auto size : sizes) {
      const auto n = static_cast<Eigen::Index>(size) - static_cast<Eigen::Index>(k),
                 shift = static_cast<Eigen::Index>(k);
      alike += weighted.segment(begin, n).dot(weighted.segment(begin + shift, n));
      product += influence.segment(begin, n).dot(influence.segment(begin + shift, n));
      begin += static_cast<Eigen::Index>(size);
    }
    const double rho = alike / power;
    if (rho < 0.05) break;  // noise from here on
    products += 2.0 * rho * product;
    memory += 2.0 * rho;
  }
  out.variance = variance * std::max(products, 0.2 * weight);
  const double concentration = weight * weight / influence.array().square().square().sum();
  out.effective = concentration / memory;
  return out;
}

}  // namespace

LagFitter::LagFitter(const std::vector<Stretch>& stretches, const LagModel& from)
    : stretches_{stretches}, model_{from} {
  for (const auto& s : stretches) count_ += s.t.size();
  double sum = 0.0, square = 0.0, low = 1e300, high = -1e300;
  for (const auto& s : stretches)
    for (const double y : s.output) sum += y, square += y * y, low = std::min(low, y), high = std::max(high, y);
  const double n = static_cast<double>(count_);
  motion_ = std::sqrt(std::max(0.0, square / n - sum / n * sum / n));
  span_ = high - low;
}

VectorXd LagFitter::residual_of(const LagModel& m) const {
  VectorXd r(static_cast<Eigen::Index>(count_));
  Eigen::Index k = 0;
  for (const auto& s : stretches_) {
    const auto modelled = model_output(s, m, lag_response(s, m));
    for (std::size_t i = 0; i < modelled.size(); ++i) r[k++] = s.output[i] - modelled[i];
  }
  return r;
}

double LagFitter::step_of(int which) const {
  switch (which) {
    case P::dead_time:
      return 2e-5;
    case P::gain:
      return 1e-4 * std::abs(model_.gain) + 1e-12;
    case P::offset:
      return 1e-4 * span_;
    case P::shape:
      return 1e-3;
    case P::damping:
      return 1e-3;
    case P::play:
      return 1e-4 * span_;
    default:
      return 1e-4 * span_ / std::abs(model_.gain);
  }
}

LagMisfit LagFitter::misfit(const std::vector<int>& free) const {
  LagMisfit out{residual_of(model_),
                MatrixXd(static_cast<Eigen::Index>(count_), static_cast<Eigen::Index>(free.size()))};
  for (std::size_t j = 0; j < free.size(); ++j) {
    const double h = step_of(free[j]);
    const VectorXd up = residual_of(moved(model_, free[j], h));
    out.slope.col(static_cast<Eigen::Index>(j)) = (out.residual - up) / h;
  }
  return out;
}

double LagFitter::solve_gain() {
  auto& m = model_;
  m.gain = 1.0, m.offset = m.play = m.friction = 0.0;
  double n = 0, sx = 0, sy = 0, sxx = 0, sxy = 0, syy = 0;
  for (const auto& s : stretches_) {
    const auto w = model_output(s, m, lag_response(s, m));
    for (std::size_t i = 0; i < w.size(); ++i) {
      const double y = s.output[i];
      n += 1, sx += w[i], sy += y, sxx += w[i] * w[i], sxy += w[i] * y, syy += y * y;
    }
  }
  const double vx = sxx - sx * sx / n, vxy = sxy - sx * sy / n, vy = syy - sy * sy / n;
  m.gain = vx > 0.0 ? vxy / vx : 0.0;
  m.offset = (sy - m.gain * sx) / n;
  return vy - m.gain * vxy;
}

void LagFitter::descend(const std::vector<int>& free, int most_turns) {
  double damping = 1e-3;
  converged_ = false;
  int still = 0;
  double sum = residual_of(model_).squaredNorm();
  for (int turn = 0; turn < most_turns && !converged_; ++turn) {
    const auto here = misfit(free);
    const MatrixXd normal = here.slope.transpose() * here.slope;
    const VectorXd right = here.slope.transpose() * here.residual;
    bool better = false;
    for (int attempt = 0; attempt < 8 && !better; ++attempt) {
      MatrixXd damped = normal;
      damped.diagonal() += damping * (normal.diagonal().array() + 1e-12 * normal.diagonal().maxCoeff()).matrix();
      const VectorXd step = damped.ldlt().solve(right);
      LagModel m = model_;
      for (std::size_t j = 0; j < free.size(); ++j) {
        const double by = step[static_cast<Eigen::Index>(j)];
        m = moved(m, free[j], on_log_scale(free[j]) ? std::clamp(by, -0.7, 0.7) : by);
      }
      const double next = residual_of(m).squaredNorm();
      better = std::isfinite(next) && next < sum;
      if (better) {
        // A hundredth of one sample's share is far below what noise could tell; twice, lest a damped step deceives.
        still = sum - next < 0.01 * sum / static_cast<double>(count_) ? still + 1 : 0;
        converged_ = still >= 2;
        model_ = m, sum = next;
        damping = std::max(1e-9, damping * 0.2);
      } else {
        damping *= 8.0;
      }
    }
    if (!better) converged_ = true;  // no direction leads further down
  }
}

LagFit LagFitter::result(const std::vector<int>& free) const {
  LagFit fit;
  fit.model = model_;
  fit.converged = converged_;
  fit.motion = motion_;
  fit.fitted.assign(P::count, false);
  for (const int which : free) fit.fitted[static_cast<std::size_t>(which)] = true;
  const auto here = misfit(free);
  const auto n = static_cast<double>(count_), p = static_cast<double>(free.size());
  fit.residual = std::sqrt(here.residual.squaredNorm() / std::max(1.0, n - p));
  const auto last = here.residual.size() - 1;
  if (fit.residual > 0.0)
    fit.whiteness = here.residual.head(last).dot(here.residual.tail(last)) / here.residual.squaredNorm();

  const MatrixXd normal = here.slope.transpose() * here.slope;
  const VectorXd scale = normal.diagonal().cwiseSqrt().cwiseMax(1e-300).cwiseInverse();
  const MatrixXd scaled = scale.asDiagonal() * normal * scale.asDiagonal();
  // Play and friction stand at the end of `free`; they resemble each other, which does no harm to the dead time.
  const auto linear = std::count_if(free.begin(), free.end(), [](int which) { return which < P::play; });
  const Eigen::SelfAdjointEigenSolver<MatrixXd> eigen{scaled.topLeftCorner(linear, linear)};
  const double least = eigen.eigenvalues().minCoeff();
  fit.condition = least > 0.0 ? eigen.eigenvalues().maxCoeff() / least : std::numeric_limits<double>::infinity();

  std::vector<std::size_t> sizes;
  Eigen::Index begin = 0;
  for (const auto& s : stretches_) {
    sizes.push_back(s.t.size());
    fit.fitted_output.emplace_back();
    for (std::size_t i = 0; i < s.t.size(); ++i)
      fit.fitted_output.back().push_back(s.output[i] - here.residual[begin + static_cast<Eigen::Index>(i)]);
    begin += static_cast<Eigen::Index>(s.t.size());
  }
  const MatrixXd inverse =
      scale.asDiagonal() * scaled.completeOrthogonalDecomposition().pseudoInverse() * scale.asDiagonal();
  const MatrixXd influence = here.slope * inverse;  // residual -> parameters
  fit.covariance = MatrixXd::Zero(P::count, P::count);
  fit.influence = MatrixXd::Zero(influence.rows(), P::count);
  for (std::size_t j = 0; j < free.size(); ++j)
    fit.influence.col(free[j]) = influence.col(static_cast<Eigen::Index>(j));
  const auto own = [&](std::size_t a) { return influence.col(static_cast<Eigen::Index>(a)); };
  for (std::size_t a = 0; a < free.size(); ++a) {
    const auto spread = spread_of(own(a), here.residual, sizes);
    fit.covariance(free[a], free[a]) = spread.variance;
    if (free[a] == P::dead_time) fit.degrees_of_freedom = std::max(2.0, spread.effective - p);
    for (std::size_t b = 0; b < a; ++b) {  // from the variance of the sum
      const double both = spread_of(own(a) / own(a).norm() + own(b) / own(b).norm(), here.residual, sizes).variance;
      const double va = spread.variance / own(a).squaredNorm();
      const double vb = fit.covariance(free[b], free[b]) / own(b).squaredNorm();
      const double cov = 0.5 * (both - va - vb) * own(a).norm() * own(b).norm();
      fit.covariance(free[a], free[b]) = fit.covariance(free[b], free[a]) = cov;
    }
  }
  begin = 0;
  for (const auto size : sizes) {
    VectorXd pull = VectorXd::Zero(P::count);
    const auto rows = static_cast<Eigen::Index>(size);
    const VectorXd part = influence.middleRows(begin, rows).transpose() * here.residual.segment(begin, rows);
    for (std::size_t j = 0; j < free.size(); ++j) pull[free[j]] = part[static_cast<Eigen::Index>(j)];
    fit.pull.push_back(pull);
    begin += rows;
  }
  return fit;
}

}  // namespace trackrod
