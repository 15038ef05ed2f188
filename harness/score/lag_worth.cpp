#include "harness/score/lag_worth.hpp"

#include <algorithm>
#include <cmath>
#include <limits>

namespace trackrod {
namespace {

using Eigen::MatrixXd;
using Eigen::VectorXd;
using P = LagParameter;

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

LagFit worth_of(const LagFitter& fitter, const std::vector<Stretch>& stretches, const std::vector<int>& free) {
  LagFit fit;
  fit.model = fitter.model();
  fit.converged = fitter.relative_offset() < 1.0;
  fit.undone = VectorXd::Zero(P::count);
  for (std::size_t j = 0; j < free.size(); ++j) fit.undone[free[j]] = fitter.undone()[static_cast<Eigen::Index>(j)];
  fit.motion = fitter.motion();
  fit.fitted.assign(P::count, false);
  for (const int which : free) fit.fitted[static_cast<std::size_t>(which)] = true;
  const auto here = fitter.misfit(free);
  const auto n = static_cast<double>(fitter.count()), p = static_cast<double>(free.size());
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
  for (const auto& s : stretches) {
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
