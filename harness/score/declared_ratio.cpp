#include "harness/score/declared_ratio.hpp"

#include <algorithm>

namespace trackrod {

const Fields<DeclaredPoint>& declared_fields() {
  static const auto fields =
      Fields<DeclaredPoint>{"declared_ratio", "The ratio that is declared at a position of the input"}
          .need("at", &DeclaredPoint::at, number(-1e9, 1e9), "position, a number in the input's unit")
          .need("ratio", &DeclaredPoint::ratio, number(-1e9, 1e9),
                "input over output there, local; negative where the "
                "output goes the other way");
  return fields;
}

double declared_at(const std::vector<DeclaredPoint>& points, double x) {
  const auto after = std::lower_bound(points.begin(), points.end(), x,
                                      [](const DeclaredPoint& p, double value) { return p.at < value; });
  if (after == points.begin()) return points.front().ratio;
  if (after == points.end()) return points.back().ratio;
  const auto& a = *std::prev(after);
  return a.ratio + (after->ratio - a.ratio) * (x - a.at) / (after->at - a.at);
}

// Midpoints of a hundred parts: their error is below 1e-5 for a ratio that doubles over the stretch.
double declared_over(const std::vector<DeclaredPoint>& points, double from, double to) {
  constexpr int parts = 100;
  double change = 0.0;
  for (int i = 0; i < parts; ++i) change += 1.0 / declared_at(points, from + (to - from) * (i + 0.5) / parts);
  return parts / change;
}

}  // namespace trackrod
