#include "harness/score/ratio_extreme.hpp"

#include <random>

namespace trackrod {
namespace {

// What noise of the readings makes of these means; a knot is shared by the stretches on both sides of it.
std::vector<double> drawn_again(const RatioMap& map, std::vector<double> means, std::mt19937_64& random) {
  std::normal_distribution<double> normal;
  for (std::size_t k = 0; k < means.size(); ++k) means[k] += 0.5 * map.knots[k].u * normal(random);
  return means;
}
std::vector<double> ratios_between(const RatioMap& map, const std::vector<double>& means) {
  std::vector<double> ratios;
  for (std::size_t k = 1; k < means.size(); ++k)
    ratios.push_back((map.knots[k].position - map.knots[k - 1].position) / (means[k] - means[k - 1]));
  return ratios;
}

}  // namespace

std::vector<double> ratios_of(const RatioMap& map) {
  std::vector<double> ratios;
  for (std::size_t k = 0; k < map.stretches(); ++k) ratios.push_back(map.between(k, k + 1).ratio);
  return ratios;
}

// By how much the noise of the readings shifts an extreme of the map: drawn again about what was found. What was found
// is already spread by that noise, so that fewer places compete for the extreme there than in truth; how much that
// hides of the shift is seen by drawing again about what was drawn (iterated bootstrap; Hall 1986, "On the bootstrap
// and confidence intervals", from memory).
double bias_of(const RatioMap& map, const OfRatios& figure, double found) {
  std::mt19937_64 random{1};
  constexpr int draws = 400, again = 50;
  std::vector<double> means;
  for (const auto& knot : map.knots) means.push_back(knot.mean);
  double once = 0.0, twice = 0.0;
  for (int d = 0; d < draws; ++d) {
    const auto drawn = drawn_again(map, means, random);
    const double value = figure(ratios_between(map, drawn)).value;
    once += (value - found) / draws;
    for (int e = 0; e < again; ++e)
      twice += (figure(ratios_between(map, drawn_again(map, drawn, random))).value - value) / (draws * again);
  }
  return 2.0 * once - twice;
}

}  // namespace trackrod
