#include "harness/score/figure.hpp"

#include <algorithm>
#include <cmath>
#include <limits>
#include <tuple>

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

void add_finding(Curve& curve, double x, const Finding& finding, double scale) {
  constexpr double none = std::numeric_limits<double>::quiet_NaN();
  double low = none, high = none;
  if (finding.value && finding.interval)
    std::tie(low, high) = std::minmax({scale * (*finding.interval)[0], scale * (*finding.interval)[1]});
  curve.x.push_back(x);
  curve.y.push_back(scale * finding.value.value_or(none));
  curve.low.push_back(low);
  curve.high.push_back(high);
}

void add_mark(Figure& figure, const std::string& label, char axis, const Finding& finding, double from) {
  if (!finding.value) return;
  double half = 0.0;
  if (finding.interval)
    half = std::max(*finding.value - (*finding.interval)[0], (*finding.interval)[1] - *finding.value);
  figure.marks.push_back({label, axis, from + *finding.value, half});
}

const Finding& finding_named(const std::vector<Finding>& findings, const std::string& name) {
  return *std::find_if(findings.begin(), findings.end(), [&](const Finding& f) { return f.name == name; });
}

}  // namespace trackrod
