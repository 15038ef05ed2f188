#include "harness/score/figure.hpp"

#include <algorithm>
#include <cmath>

namespace trackrod {

Curve thinned(const std::string& label, const std::vector<double>& x, const std::vector<double>& y, std::size_t most) {
  Curve curve;
  curve.label = label;
  if (x.size() <= most) {
    curve.x = x;
    curve.y = y;
    return curve;
  }
  const std::size_t stretches = most / 3;  // least, greatest and perhaps a break
  for (std::size_t s = 0; s < stretches; ++s) {
    const std::size_t begin = s * x.size() / stretches, end = (s + 1) * x.size() / stretches;
    std::size_t least = end, greatest = end, gap = end;
    for (std::size_t i = begin; i < end; ++i) {
      if (std::isnan(y[i])) {
        gap = i;
        continue;
      }
      if (least == end || y[i] < y[least]) least = i;
      if (greatest == end || y[i] > y[greatest]) greatest = i;
    }
    std::vector<std::size_t> kept{least, greatest, gap};
    std::sort(kept.begin(), kept.end());
    kept.erase(std::unique(kept.begin(), kept.end()), kept.end());
    for (const auto i : kept) {
      if (i == end) continue;
      curve.x.push_back(x[i]);
      curve.y.push_back(y[i]);
    }
  }
  return curve;
}

}  // namespace trackrod
