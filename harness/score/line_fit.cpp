#include "harness/score/line_fit.hpp"

#include <algorithm>
#include <boost/math/distributions/chi_squared.hpp>
#include <cmath>
#include <limits>

namespace trackrod {

LineFit fit_line(const std::vector<double>& x, const std::vector<double>& y, const std::vector<double>& u) {
  LineFit fit;
  double weight = 0.0, mean = 0.0, centre = 0.0;
  for (std::size_t i = 0; i < x.size(); ++i) weight += 1.0 / (u[i] * u[i]);
  for (std::size_t i = 0; i < x.size(); ++i) {
    const double share = 1.0 / (u[i] * u[i]) / weight;
    centre += share * x[i];
    mean += share * y[i];
  }
  double spread = 0.0;
  for (std::size_t i = 0; i < x.size(); ++i) spread += (x[i] - centre) * (x[i] - centre) / (u[i] * u[i]);
  for (std::size_t i = 0; i < x.size(); ++i) {
    const double w = 1.0 / (u[i] * u[i]);
    fit.slope_share.push_back(w * (x[i] - centre) / spread);
    fit.intercept_share.push_back(w / weight - centre * fit.slope_share.back());
    fit.slope += fit.slope_share.back() * (y[i] - mean);
  }
  fit.intercept = mean - fit.slope * centre;
  fit.slope_unit = std::sqrt(1.0 / spread);
  fit.intercept_unit = std::sqrt(1.0 / weight + centre * centre / spread);
  for (std::size_t i = 0; i < x.size(); ++i)
    fit.chi_square += std::pow((y[i] - fit.intercept - fit.slope * x[i]) / u[i], 2);
  if (x.size() > 2) fit.residual_deviation = std::sqrt(fit.chi_square / static_cast<double>(x.size() - 2));
  return fit;
}

double chance_of(double chi_square, double degrees_of_freedom) {
  return boost::math::cdf(
      boost::math::complement(boost::math::chi_squared{degrees_of_freedom}, std::max(0.0, chi_square)));
}

// The narrowest band touches the points' hull along one edge, so one of the slopes between two points is its slope.
double independent_linearity(const std::vector<double>& x, const std::vector<double>& y) {
  double narrowest = std::numeric_limits<double>::infinity();
  for (std::size_t i = 0; i < x.size(); ++i)
    for (std::size_t j = i + 1; j < x.size(); ++j) {
      if (x[i] == x[j]) continue;
      const double slope = (y[j] - y[i]) / (x[j] - x[i]);
      double low = std::numeric_limits<double>::infinity(), high = -low;
      for (std::size_t k = 0; k < x.size(); ++k) {
        const double d = y[k] - slope * x[k];
        low = std::min(low, d);
        high = std::max(high, d);
      }
      narrowest = std::min(narrowest, 0.5 * (high - low));
    }
  return narrowest;
}

}  // namespace trackrod
