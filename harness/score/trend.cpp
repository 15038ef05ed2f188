#include "harness/score/trend.hpp"

#include <Eigen/Dense>
#include <algorithm>
#include <boost/math/distributions/students_t.hpp>
#include <cmath>

namespace trackrod {
namespace {

constexpr double least_memory = -0.6, most_memory = 0.99;
constexpr int memories = 120;

double correlation(double memory, double distance) {
  const double whole = std::round(distance);
  if (memory >= 0.0) return std::pow(memory, distance);
  return std::fmod(whole, 2.0) == 0.0 ? std::pow(-memory, whole) : -std::pow(-memory, whole);
}

// Generalised least squares at one memory.
struct Fit {
  double weight{0.0};  // first its logarithm
  Eigen::VectorXd line;
  double slope_u{0.0}, variance{0.0};
};

Fit fit_at(double memory, const std::vector<double>& x, const Eigen::MatrixXd& causes, const Eigen::VectorXd& y) {
  const Eigen::Index n = y.size(), p = causes.cols();
  Eigen::MatrixXd a{n, p};
  Eigen::VectorXd b{n};
  a.row(0) = causes.row(0);
  b[0] = y[0];
  double log_determinant = 0.0;
  for (Eigen::Index i = 1; i < n; ++i) {
    const auto k = static_cast<std::size_t>(i);
    const double r = correlation(memory, x[k] - x[k - 1]), left = std::max(1e-12, 1.0 - r * r);
    a.row(i) = (causes.row(i) - r * causes.row(i - 1)) / std::sqrt(left);
    b[i] = (y[i] - r * y[i - 1]) / std::sqrt(left);
    log_determinant += std::log(left);
  }
  const Eigen::MatrixXd normal = a.transpose() * a;
  Fit fit;
  fit.line = normal.ldlt().solve(a.transpose() * b);
  const double squares = (b - a * fit.line).squaredNorm(), free = static_cast<double>(n - p);
  fit.variance = squares / free;
  fit.slope_u = std::sqrt(fit.variance * normal.inverse()(1, 1));
  fit.weight = -0.5 * log_determinant - 0.5 * std::log(normal.determinant()) - 0.5 * free * std::log(squares);
  return fit;
}

}  // namespace

TrendFit fit_trend(const std::vector<double>& x, const std::vector<double>& y, const std::vector<double>& covariate) {
  const auto n = static_cast<Eigen::Index>(x.size());
  const double length = x.back() - x.front(), middle = 0.5 * (x.back() + x.front());
  Eigen::MatrixXd causes{n, covariate.empty() ? 2 : 3};
  Eigen::VectorXd values{n};
  double mean_covariate = 0.0;
  for (const double c : covariate) mean_covariate += c / static_cast<double>(n);
  for (Eigen::Index i = 0; i < n; ++i) {
    const auto k = static_cast<std::size_t>(i);
    causes(i, 0) = 1.0;
    causes(i, 1) = (x[k] - middle) / length;  // so that its factor is the change
    if (!covariate.empty()) causes(i, 2) = covariate[k] - mean_covariate;
    values[i] = y[k];
  }
  TrendFit out;
  out.degrees_of_freedom = static_cast<double>(n - causes.cols());
  // Values on a line to the last digit leave nothing to weigh.
  const Eigen::VectorXd plain = causes.colPivHouseholderQr().solve(values);
  if ((values - causes * plain).norm() <= 1e-12 * values.norm()) {
    out.change = plain[1], out.slope = plain[1] / length, out.at_first = plain[0] - 0.5 * plain[1];
    out.interval = {out.change, out.change};
    return out;
  }
  std::vector<Fit> fits;
  double greatest = -INFINITY, sum = 0.0;
  const auto memory_at = [](int i) { return least_memory + (most_memory - least_memory) * (i + 0.5) / memories; };
  for (int i = 0; i < memories; ++i) {
    fits.push_back(fit_at(memory_at(i), x, causes, values));
    greatest = std::max(greatest, fits.back().weight);
  }
  for (auto& fit : fits) sum += fit.weight = std::exp(fit.weight - greatest);
  double intercept = 0.0, variance = 0.0;
  for (int i = 0; i < memories; ++i) {
    auto& fit = fits[static_cast<std::size_t>(i)];
    fit.weight /= sum;
    out.change += fit.weight * fit.line[1];
    intercept += fit.weight * fit.line[0];
    out.memory += fit.weight * memory_at(i);
    variance += fit.weight * fit.variance;
    if (!covariate.empty()) out.per_covariate += fit.weight * fit.line[2];
  }
  out.slope = out.change / length;
  out.at_first = intercept - 0.5 * out.change;
  out.deviation = std::sqrt(variance);
  double spread = 0.0;
  for (const auto& fit : fits)
    spread += fit.weight * (fit.slope_u * fit.slope_u + std::pow(fit.line[1] - out.change, 2));
  out.standard_uncertainty = std::sqrt(spread);
  const boost::math::students_t student{out.degrees_of_freedom};
  const auto below = [&](double change) {
    double share = 0.0;
    for (const auto& fit : fits)
      if (fit.weight > 1e-9) share += fit.weight * boost::math::cdf(student, (change - fit.line[1]) / fit.slope_u);
    return share;
  };
  for (const bool upper : {false, true}) {
    double low = out.change - 200.0 * out.standard_uncertainty, high = out.change + 200.0 * out.standard_uncertainty;
    for (int i = 0; i < 60; ++i) {
      const double between = 0.5 * (low + high);
      (below(between) < (upper ? 0.975 : 0.025) ? low : high) = between;
    }
    out.interval[upper ? 1 : 0] = 0.5 * (low + high);
  }
  return out;
}

std::vector<double> without_memory(const std::vector<double>& x, const std::vector<double>& e, double memory) {
  std::vector<double> fresh;
  for (std::size_t i = 0; i < e.size(); ++i) {
    if (i == 0) {
      fresh.push_back(e[0]);
      continue;
    }
    const double r = correlation(memory, x[i] - x[i - 1]);
    fresh.push_back((e[i] - r * e[i - 1]) / std::sqrt(std::max(1e-12, 1.0 - r * r)));
  }
  return fresh;
}

}  // namespace trackrod
