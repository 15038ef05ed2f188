#include "harness/score/order_statistics.hpp"

#include <boost/math/distributions/beta.hpp>
#include <boost/math/distributions/binomial.hpp>
#include <cmath>

namespace trackrod {
namespace {

double beta_quantile(double a, double b, double p) {
  return boost::math::quantile(boost::math::beta_distribution<>{a, b}, p);
}

}  // namespace

double least_proportion(std::size_t good, std::size_t trials, double confidence) {
  if (good == 0) return 0.0;
  return beta_quantile(static_cast<double>(good), static_cast<double>(trials - good) + 1.0, 1.0 - confidence);
}

std::array<double, 2> proportion_bounds(std::size_t good, std::size_t trials, double confidence) {
  const double one_sided = 0.5 * (1.0 + confidence);
  return {least_proportion(good, trials, one_sided), 1.0 - least_proportion(trials - good, trials, one_sided)};
}

std::optional<std::size_t> tolerance_rank(std::size_t trials, double share, double confidence) {
  if (trials < fewest_for_tolerance(share, confidence)) return std::nullopt;
  // The value of rank r lies above the share when fewer than r of all lie below it.
  const boost::math::binomial_distribution<> below{static_cast<double>(trials), share};
  for (std::size_t rank = 1; rank < trials; ++rank)
    if (boost::math::cdf(below, static_cast<double>(rank - 1)) >= confidence) return rank;
  return trials;
}

std::size_t fewest_for_tolerance(double share, double confidence) {
  return static_cast<std::size_t>(std::ceil(std::log(1.0 - confidence) / std::log(share) - 1e-12));
}

}  // namespace trackrod
