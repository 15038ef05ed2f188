#include "harness/score/lag_worth.hpp"

#include <algorithm>
#include <cmath>
#include <limits>

namespace trackrod {
namespace {

using Eigen::MatrixXd;
using Eigen::VectorXd;
using P = LagParameter;

constexpr double most_undone = 3.0;  // of what white noise leaves open; it widens the interval

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

// Variances and covariances of the free parameters, from the residuals. Also how many residuals carry the dead time.
void add_covariance(LagFit& fit, const std::vector<int>& free, const VectorXd& residual,
                    const std::vector<std::size_t>& sizes) {
  fit.covariance = MatrixXd::Zero(P::count, P::count);
  const auto own = [&](int which) { return fit.influence.col(which); };
  for (std::size_t a = 0; a < free.size(); ++a) {
    const int i = free[a];
    const auto spread = spread_of(own(i), residual, sizes);
    fit.covariance(i, i) = spread.variance;
    if (i == P::dead_time) fit.degrees_of_freedom = std::max(2.0, spread.effective - static_cast<double>(free.size()));
    for (std::size_t b = 0; b < a; ++b) {  // from the variance of the sum
      const int j = free[b];
      const double both = spread_of(own(i) / own(i).norm() + own(j) / own(j).norm(), residual, sizes).variance;
      const double vi = spread.variance / own(i).squaredNorm();
      const double vj = fit.covariance(j, j) / own(j).squaredNorm();
      fit.covariance(i, j) = fit.covariance(j, i) = 0.5 * (both - vi - vj) * own(i).norm() * own(j).norm();
    }
  }
}

// What each stretch by itself, and the noise of the input, do to the parameters.
void add_pulls(LagFit& fit, const LagFitter& fitter, const std::vector<Stretch>& stretches,
               const std::vector<int>& free, const VectorXd& residual, const MatrixXd& inverse) {
  fit.noise_shift = VectorXd::Zero(P::count);
  Eigen::Index begin = 0;
  for (const auto& s : stretches) {
    const auto rows = static_cast<Eigen::Index>(s.t.size());
    VectorXd by_noise = VectorXd::Zero(P::count);
    by_noise(free) = inverse * fitter.noise_pull(s, free);
    fit.noise_shift += by_noise;
    fit.pull.push_back(fit.influence.middleRows(begin, rows).transpose() * residual.segment(begin, rows) + by_noise);
    begin += rows;
  }
}

}  // namespace

double structured_square(const Eigen::VectorXd& residual, double explained) {
  constexpr Eigen::Index lags = 4;
  constexpr double chance = 3.0, known = 0.3;  // standard deviations; share of what is explained that may be wrong
  const auto n = residual.size();
  if (n < 20 * lags) return 0.0;
  double alike = 0.0;
  for (Eigen::Index k = 1; k <= lags; ++k)
    alike += residual.head(n - k).dot(residual.tail(n - k)) / static_cast<double>(n * lags);
  const double scatter = residual.squaredNorm() / static_cast<double>(n) / std::sqrt(static_cast<double>(n * lags));
  return alike - explained > chance * scatter + known * explained ? alike - explained : 0.0;
}

LagFit worth_of(const LagFitter& fitter, const std::vector<Stretch>& stretches, const std::vector<int>& free) {
  LagFit fit;
  fit.model = fitter.model();
  fit.converged = fitter.relative_offset() < most_undone;
  fit.undone = VectorXd::Zero(P::count);
  fit.undone(free) = fitter.undone();
  fit.motion = fitter.motion();
  fit.fitted.assign(P::count, false);
  for (const int which : free) fit.fitted[static_cast<std::size_t>(which)] = true;
  const auto here = fitter.misfit(free);
  const auto n = static_cast<double>(fitter.count()), p = static_cast<double>(free.size());
  fit.residual = std::sqrt(here.residual.squaredNorm() / std::max(1.0, n - p));
  const auto last = here.residual.size() - 1;
  if (fit.residual > 0.0)
    fit.whiteness = here.residual.head(last).dot(here.residual.tail(last)) / here.residual.squaredNorm();
  fit.misfit = std::sqrt(structured_square(here.residual, fitter.explained()));

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
  for (const auto& s : stretches) {
    sizes.push_back(s.t.size());
    fit.fitted_output.emplace_back();
    for (std::size_t i = 0; i < s.t.size(); ++i)
      fit.fitted_output.back().push_back(s.output[i] - here.residual[begin + static_cast<Eigen::Index>(i)]);
    begin += static_cast<Eigen::Index>(s.t.size());
  }
  const MatrixXd inverse =
      scale.asDiagonal() * scaled.completeOrthogonalDecomposition().pseudoInverse() * scale.asDiagonal();
  fit.influence = MatrixXd::Zero(here.slope.rows(), P::count);
  fit.influence(Eigen::all, free) = here.slope * inverse;
  add_covariance(fit, free, here.residual, sizes);
  add_pulls(fit, fitter, stretches, free, here.residual, inverse);
  return fit;
}

}  // namespace trackrod
