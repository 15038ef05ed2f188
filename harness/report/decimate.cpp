#include "harness/report/decimate.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <limits>

namespace trackrod {
namespace {

// Points of one column while the line stays in it.
struct Run {
  std::size_t first{0}, last{0}, lowest{0}, highest{0};
};

void close(const Run& run, const Curve& from, Curve& to) {
  std::array<std::size_t, 4> kept{run.first, run.lowest, run.highest, run.last};
  std::sort(kept.begin(), kept.end());
  const auto end = std::unique(kept.begin(), kept.end());
  for (auto i = kept.begin(); i != end; ++i) {
    to.x.push_back(from.x[*i]);
    to.y.push_back(from.y[*i]);
  }
}

}  // namespace

Curve decimated(const Curve& curve, double low, double high, std::size_t column_count) {
  if (curve.style != Curve::Style::line || !curve.low.empty() || !(high > low) || column_count == 0) return curve;
  constexpr auto none = std::numeric_limits<double>::quiet_NaN();
  Curve out{curve.label, {}, {}, curve.style};
  const double scale = static_cast<double>(column_count) / (high - low);
  bool open = false;
  double column = 0.0;
  Run run;
  for (std::size_t i = 0; i < std::min(curve.x.size(), curve.y.size()); ++i) {
    if (!std::isfinite(curve.x[i]) || !std::isfinite(curve.y[i])) {
      if (open) close(run, curve, out);
      if (open || out.x.empty()) out.x.push_back(none), out.y.push_back(none);
      open = false;
      continue;
    }
    const double here = std::floor((curve.x[i] - low) * scale);
    if (open && here != column) {
      close(run, curve, out);
      open = false;
    }
    if (!open) {
      run = {i, i, i, i};
      column = here;
      open = true;
      continue;
    }
    run.last = i;
    if (curve.y[i] < curve.y[run.lowest]) run.lowest = i;
    if (curve.y[i] > curve.y[run.highest]) run.highest = i;
  }
  if (open) close(run, curve, out);
  return out;
}

}  // namespace trackrod
