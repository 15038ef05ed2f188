#pragma once
// Axes: a range that fits and ticks that people can read. Pure.

#include <string>
#include <vector>

#include "harness/score/score.hpp"

namespace trackrod {

struct AxisTick {
  double at{0.0};
  std::string label;
};

struct Axis {
  double low{0.0}, high{1.0};
  bool log{false};
  std::vector<AxisTick> ticks;  // within [low, high], rising

  // 0 at low, 1 at high; beyond them outside. NaN for what has no place on the axis.
  double fraction(double value) const;
};

// The axis for values from `low` to `high`: ticks at 1, 2 or 5 times a power of ten, about `wanted` of them. A range of
// no width is widened. Log: at powers of ten, and `low` must be positive.
Axis make_axis(double low, double high, int wanted, bool log = false);

// The axes of a figure: every finite point fits, bars stand on zero, and marks are taken in unless they would squeeze
// the curves into less than two fifths of the picture.
struct FigureAxes {
  Axis x, y;
  bool empty{false};  // nothing finite to draw
};
FigureAxes figure_axes(const Figure& figure, int wanted_x, int wanted_y);

// Half the width of the bars of `curve`, in x.
double bar_half_width(const Curve& curve);

}  // namespace trackrod
