#include "harness/report/axis.hpp"

#include <algorithm>
#include <cmath>
#include <limits>

#include "harness/base/units.hpp"
#include "harness/report/text.hpp"

namespace trackrod {
namespace {

struct Range {
  double low{std::numeric_limits<double>::infinity()};
  double high{-std::numeric_limits<double>::infinity()};
  void take(double value) {
    if (!std::isfinite(value)) return;
    low = std::min(low, value);
    high = std::max(high, value);
  }
  bool empty() const { return low > high; }
  double span() const { return high - low; }
};

// 1, 2 or 5 times a power of ten, near span / wanted.
double tick_step(double span, int wanted) {
  const double rough = span / wanted;
  const double power = std::pow(10.0, std::floor(std::log10(rough)));
  const double lead = rough / power;
  return power * (lead < 1.5 ? 1.0 : lead < 3.5 ? 2.0 : lead < 7.5 ? 5.0 : 10.0);
}

std::string tick_label(double value, double step, double greatest) {
  if (greatest >= 1e6 || greatest < 1e-4) return shown(value, 6);
  const int decimals = std::max(0, -static_cast<int>(std::floor(std::log10(step) + 1e-9)));
  return fixed(value, decimals);
}

void add_linear_ticks(Axis& axis, int wanted) {
  const double step = tick_step(axis.high - axis.low, wanted);
  const double slack = step * 1e-6;
  const double first = std::ceil((axis.low - slack) / step), last = std::floor((axis.high + slack) / step);
  const double greatest = std::max(std::abs(first), std::abs(last)) * step;
  for (double n = first; n <= last; n += 1.0) axis.ticks.push_back({n * step, tick_label(n * step, step, greatest)});
}

void add_log_ticks(Axis& axis, int wanted) {
  const double decades = std::log10(axis.high / axis.low);
  if (decades < 1.0) return add_linear_ticks(axis, wanted);  // round numbers, where there is no power of ten
  if (decades < 2.0) {
    for (double power = std::pow(10.0, std::floor(std::log10(axis.low))); power <= axis.high; power *= 10.0)
      for (const double lead : {1.0, 2.0, 5.0})
        if (const double at = lead * power; at >= axis.low && at <= axis.high) axis.ticks.push_back({at, shown(at, 6)});
    return;
  }
  const int first = static_cast<int>(std::ceil(std::log10(axis.low) - 1e-9));
  const int last = static_cast<int>(std::floor(std::log10(axis.high) + 1e-9));
  const int stride = std::max(1, (last - first) / std::max(1, wanted));
  for (int n = first; n <= last; n += stride) {
    const double at = std::pow(10.0, n);
    axis.ticks.push_back({at, shown(at, 6)});
  }
}

// `data` with the marks of one axis taken in, each unless it squeezes the data.
Range with_marks(const Range& data, const Figure& figure, char which) {
  Range out = data;
  for (const auto& m : figure.marks) {
    if (m.axis != which || !std::isfinite(m.value)) continue;
    Range wider = out;
    const double half = std::isfinite(m.half_width) ? m.half_width : 0.0;
    wider.take(m.value - half);
    wider.take(m.value + half);
    if (data.empty() || wider.span() <= 2.5 * data.span()) out = wider;
  }
  return out;
}

Range padded_range(Range range, double share) {
  double pad = range.span() * share;
  if (!(range.span() > 1e-12 * std::max(std::abs(range.low), std::abs(range.high))))
    pad = range.low == 0.0 ? 1.0 : std::abs(range.low) * 0.1;
  return {range.low - pad, range.high + pad};
}

}  // namespace

double Axis::fraction(double value) const {
  if (!log) return (value - low) / (high - low);
  if (!(value > 0.0)) return std::numeric_limits<double>::quiet_NaN();
  return std::log(value / low) / std::log(high / low);
}

Axis make_axis(double low, double high, int wanted, bool log) {
  Axis axis{low, high, log, {}};
  if (!(high > low)) {
    axis.low = log ? low / 2.0 : low - 1.0;
    axis.high = log ? low * 2.0 : low + 1.0;
  }
  if (log)
    add_log_ticks(axis, wanted);
  else
    add_linear_ticks(axis, wanted);
  return axis;
}

double bar_half_width(const Curve& curve) {
  double least = std::numeric_limits<double>::infinity();
  for (std::size_t i = 1; i < curve.x.size(); ++i) {
    const double step = std::abs(curve.x[i] - curve.x[i - 1]);
    if (step > 0.0) least = std::min(least, step);
  }
  return std::isfinite(least) ? least / 2.0 : 0.5;
}

FigureAxes figure_axes(const Figure& figure, int wanted_x, int wanted_y) {
  Range x, y;
  bool bars = false;
  for (const auto& curve : figure.curves) {
    const double half = curve.style == Curve::Style::bars ? bar_half_width(curve) : 0.0;
    bars = bars || half > 0.0;
    for (std::size_t i = 0; i < std::min(curve.x.size(), curve.y.size()); ++i) {
      if (!std::isfinite(curve.x[i]) || !std::isfinite(curve.y[i])) continue;
      if ((figure.y_log && curve.y[i] <= 0.0) || (figure.x_log && curve.x[i] <= 0.0)) continue;
      x.take(curve.x[i] - half);
      x.take(curve.x[i] + half);
      y.take(curve.y[i]);
      for (const auto* end : {&curve.low, &curve.high})
        if (i < end->size() && !(figure.y_log && (*end)[i] <= 0.0)) y.take((*end)[i]);
    }
  }
  if (bars && !y.empty()) y.take(figure.y_log ? y.low / 2.0 : 0.0);
  const Range bare = y;
  x = with_marks(x, figure, 'x');
  y = with_marks(y, figure, 'y');
  const bool empty = x.empty() && y.empty();
  if (x.empty()) x = {0.0, 1.0};
  if (y.empty()) y = {figure.y_log ? 0.1 : 0.0, 1.0};
  if (figure.x_log && x.low > 0.0)
    x = {x.low / 1.1, x.high * 1.1};
  else
    x = padded_range(x, bars ? 0.0 : 0.02);
  if (figure.y_log && y.low > 0.0) {
    y = {y.low / (bars ? 1.0 : 1.3), y.high * 1.6};
  } else {
    y = padded_range(y, 0.06);
    if (bars && bare.low >= 0.0) y.low = std::max(y.low, 0.0);  // bars stand on the axis
  }
  return {make_axis(x.low, x.high, wanted_x, figure.x_log && x.low > 0.0),
          make_axis(y.low, y.high, wanted_y, figure.y_log && y.low > 0.0), empty};
}

}  // namespace trackrod
