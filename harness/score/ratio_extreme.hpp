#pragma once
// The greatest or the least of many stretches of a ratio map, and how far noise shifts it by the choice.

#include <cstddef>
#include <functional>
#include <vector>

#include "harness/score/ratio_map.hpp"

namespace trackrod {

// A figure of the whole map, and the stretch that it comes from.
struct Extreme {
  double value{0.0};
  std::size_t stretch{0};
};
using OfRatios = std::function<Extreme(const std::vector<double>& ratios)>;

std::vector<double> ratios_of(const RatioMap& map);

// To be taken off `found`, the figure of the map as it is. Deterministic.
double bias_of(const RatioMap& map, const OfRatios& figure, double found);

}  // namespace trackrod
