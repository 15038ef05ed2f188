#include "harness/report/svg.hpp"

#include <algorithm>
#include <cmath>

#include "harness/base/units.hpp"
#include "harness/report/axis.hpp"
#include "harness/report/decimate.hpp"
#include "harness/report/drawing.hpp"

namespace trackrod {
namespace {

constexpr double title_size = 13.0, label_size = 11.0, row = 16.0;
constexpr Ink grid{"currentColor", 1.0, "", 0.13};
constexpr Ink axis_ink{"currentColor", 1.2, "", 0.8};
constexpr Ink mark_ink{"currentColor", 1.3, "1.5 2.5"};
constexpr Ink mark_band{"currentColor", 0.0, "", 0.12};

// A mark's name and where it wants to stand: along x above the plot, along y at its right.
struct MarkLabel {
  std::string words;
  double at{0.0};
  std::size_t row{0};
};

// Draws one figure. The order of the calls in draw() is the order from back to front.
class Plot {
 public:
  Plot(const Figure& figure, PictureSize size) : figure_{figure}, size_{size} {
    axes_ = figure_axes(figure, std::max(2, size.width / 75), std::max(2, size.height / 55));
  }
  std::string draw();

 private:
  void lay_out();
  void place_key();
  void place_x_labels();
  void spread_y_labels();
  void draw_axes(Drawing& to) const;
  void draw_curve(Drawing& to, std::size_t index) const;
  void draw_bars(Drawing& to, const Curve& curve, std::size_t index) const;
  void draw_intervals(Drawing& to, const Curve& curve, std::size_t index) const;
  void draw_band(Drawing& to, const std::vector<Spot>& lower, const std::vector<Spot>& upper, std::size_t index) const;
  void draw_marks(Drawing& to) const;
  void draw_labels(Drawing& to) const;
  std::string description() const;

  double x_px(double value) const { return left_ + axes_.x.fraction(value) * (right_ - left_); }
  double y_px(double value) const { return bottom_ - axes_.y.fraction(value) * (bottom_ - top_); }

  const Figure& figure_;
  PictureSize size_;
  FigureAxes axes_;
  double left_{0}, right_{0}, top_{0}, bottom_{0};  // of the plot itself, in pixels
  double key_top_{0};
  std::vector<Spot> key_;  // of each curve's sample in the key; empty with a single unnamed curve
  std::vector<MarkLabel> x_labels_, y_labels_;
};

double key_width(const Curve& curve) { return 34.0 + text_width(curve.label, label_size) + 16.0; }

// "↑ limit" for a mark above the picture, "limit" for one inside.
std::string mark_words(const Mark& mark, const Axis& axis, const char* before, const char* after) {
  const double at = axis.fraction(mark.value);
  const auto value = mark.label + " (" + shown(mark.value, 6) + ")";
  if (at < 0.0) return std::string{before} + " " + value;
  return at > 1.0 ? value + " " + after : mark.label;
}

void Plot::place_key() {
  const bool needed = figure_.curves.size() > 1 || (figure_.curves.size() == 1 && !figure_.curves[0].label.empty());
  if (!needed) return;
  double x = 8.0, y = key_top_;
  for (const auto& curve : figure_.curves) {
    if (x > 8.0 && x + key_width(curve) > size_.width) x = 8.0, y += row;
    key_.push_back({x, y});
    x += key_width(curve);
  }
  key_top_ = y + row;
}

void Plot::place_x_labels() {
  for (const auto& mark : figure_.marks) {
    if (mark.axis != 'x' || !std::isfinite(mark.value)) continue;
    MarkLabel label{mark_words(mark, axes_.x, "←", "→"), std::clamp(x_px(mark.value), left_, right_), 0};
    const double half = text_width(label.words, label_size) / 2.0;
    label.at = std::max(half + 4.0, std::min(label.at, size_.width - half - 4.0));
    const auto taken = [&](const MarkLabel& other) {
      const double apart = half + text_width(other.words, label_size) / 2.0 + 8.0;
      return other.row == label.row && std::abs(other.at - label.at) < apart;
    };
    while (std::any_of(x_labels_.begin(), x_labels_.end(), taken)) ++label.row;
    x_labels_.push_back(label);
  }
}

void Plot::spread_y_labels() {
  std::sort(y_labels_.begin(), y_labels_.end(), [](const auto& a, const auto& b) { return a.at < b.at; });
  double free = top_ + 4.0;
  for (auto& label : y_labels_) {
    label.at = std::max(label.at, free);
    free = label.at + label_size + 2.0;
  }
  free = bottom_ + 4.0;
  for (auto label = y_labels_.rbegin(); label != y_labels_.rend(); ++label) {
    label->at = std::min(label->at, free);
    free = label->at - label_size - 2.0;
  }
}

void Plot::lay_out() {
  double widest = 0.0;
  for (const auto& tick : axes_.y.ticks) widest = std::max(widest, text_width(tick.label, label_size));
  left_ = std::max(30.0, widest + 14.0);
  double beside = 0.0;
  for (const auto& mark : figure_.marks)
    if (mark.axis == 'y' && std::isfinite(mark.value))
      beside = std::max(beside, text_width(mark_words(mark, axes_.y, "↓", "↑"), label_size) + 10.0);
  right_ = size_.width - std::max(16.0, std::min(beside, size_.width / 3.0));
  key_top_ = figure_.title.empty() ? 6.0 : 8.0 + row + 4.0;
  place_key();
  place_x_labels();
  std::size_t rows = 0;
  for (const auto& label : x_labels_) rows = std::max(rows, label.row + 1);
  const double y_label_row = figure_.y_label.empty() ? 6.0 : row;
  top_ = key_top_ + y_label_row + static_cast<double>(rows) * (label_size + 3.0) + 6.0;
  bottom_ = size_.height - (figure_.x_label.empty() ? 24.0 : 40.0);
  for (const auto& mark : figure_.marks)
    if (mark.axis == 'y' && std::isfinite(mark.value))
      y_labels_.push_back(
          {mark_words(mark, axes_.y, "↓", "↑"), std::clamp(y_px(mark.value), top_, bottom_) + label_size / 3.0, 0});
  spread_y_labels();
}

void Plot::draw_axes(Drawing& to) const {
  for (const auto& tick : axes_.x.ticks) {
    const double x = x_px(tick.at);
    to.line({x, top_}, {x, bottom_}, grid);
    to.line({x, bottom_}, {x, bottom_ + 4.0}, axis_ink);
    to.text({x, bottom_ + 16.0}, tick.label, label_size, "middle");
  }
  for (const auto& tick : axes_.y.ticks) {
    const double y = y_px(tick.at);
    to.line({left_, y}, {right_, y}, grid);
    to.line({left_ - 4.0, y}, {left_, y}, axis_ink);
    to.text({left_ - 7.0, y + label_size / 3.0}, tick.label, label_size, "end");
  }
  to.line({left_, bottom_}, {right_, bottom_}, axis_ink);
  to.line({left_, top_}, {left_, bottom_}, axis_ink);
}

void Plot::draw_bars(Drawing& to, const Curve& curve, std::size_t index) const {
  const double half = bar_half_width(curve);
  const double floor = figure_.y_log ? bottom_ : y_px(0.0);
  const Ink inside{curve_colour(index), 0.0, "", 0.55}, outline{curve_colour(index), 1.0};
  for (std::size_t i = 0; i < std::min(curve.x.size(), curve.y.size()); ++i) {
    if (!std::isfinite(curve.x[i]) || !std::isfinite(axes_.y.fraction(curve.y[i]))) continue;
    const double a = x_px(curve.x[i] - half), b = x_px(curve.x[i] + half), y = y_px(curve.y[i]);
    if (curve.y[i] != 0.0) to.area({a, std::min(y, floor)}, b - a, std::abs(floor - y), inside, &outline);
  }
}

void Plot::draw_band(Drawing& to, const std::vector<Spot>& lower, const std::vector<Spot>& upper,
                     std::size_t index) const {
  if (lower.size() < 2) return;
  auto corners = lower;
  corners.insert(corners.end(), upper.rbegin(), upper.rend());
  to.polygon(corners, {curve_colour(index), 0.0, "", 0.2});
}

void Plot::draw_intervals(Drawing& to, const Curve& curve, std::size_t index) const {
  const Ink ink{curve_colour(index), 1.2};
  std::vector<Spot> lower, upper;
  for (std::size_t i = 0; i < std::min({curve.x.size(), curve.low.size(), curve.high.size()}); ++i) {
    const bool below = figure_.y_log && curve.low[i] <= 0.0;  // below the first decade
    const Spot low{x_px(curve.x[i]), below ? bottom_ : y_px(curve.low[i])}, high{low.x, y_px(curve.high[i])};
    if (!std::isfinite(low.x) || !std::isfinite(low.y) || !std::isfinite(high.y)) {
      draw_band(to, lower, upper, index);
      lower.clear(), upper.clear();
    } else if (curve.style == Curve::Style::line) {
      lower.push_back(low), upper.push_back(high);
    } else {
      to.line(low, high, ink);
      for (const auto& end : {low, high}) to.line({end.x - 3.5, end.y}, {end.x + 3.5, end.y}, ink);
    }
  }
  draw_band(to, lower, upper, index);
}

void Plot::draw_curve(Drawing& to, std::size_t index) const {
  const auto& whole = figure_.curves[index];
  if (whole.style == Curve::Style::bars) return draw_bars(to, whole, index);
  draw_intervals(to, whole, index);
  const auto curve = decimated(whole, axes_.x.low, axes_.x.high, static_cast<std::size_t>(right_ - left_));
  const Ink ink{curve_colour(index), 1.6, curve_dash(index)};
  std::vector<Spot> run;
  const auto flush = [&] {
    if (run.size() > 1) to.path(run, ink);
    if (run.size() == 1) to.marker(run[0], index, 1.5, {ink.colour});  // a lone point is no line, but it is there
    run.clear();
  };
  for (std::size_t i = 0; i < std::min(curve.x.size(), curve.y.size()); ++i) {
    const Spot spot{x_px(curve.x[i]), y_px(curve.y[i])};
    const bool there = std::isfinite(spot.x) && std::isfinite(spot.y);
    if (curve.style == Curve::Style::points) {
      if (there) to.marker(spot, index, 2.8, {ink.colour});
    } else if (there) {
      run.push_back(spot);
    } else {
      flush();
    }
  }
  flush();
}

void Plot::draw_marks(Drawing& to) const {
  for (const auto& mark : figure_.marks) {
    const bool along_x = mark.axis == 'x';
    const auto& axis = along_x ? axes_.x : axes_.y;
    if (!std::isfinite(axis.fraction(mark.value))) continue;
    const auto place = [&](double value) { return along_x ? x_px(value) : y_px(value); };
    if (mark.half_width > 0.0 && std::isfinite(mark.half_width)) {
      double a = place(mark.value - mark.half_width), b = place(mark.value + mark.half_width);
      if (!std::isfinite(a)) a = bottom_;  // below the first decade
      if (a > b) std::swap(a, b);
      if (along_x)
        to.area({a, top_}, b - a, bottom_ - top_, mark_band);
      else
        to.area({left_, a}, right_ - left_, b - a, mark_band);
    }
    const double at = place(mark.value);
    if (along_x)
      to.line({at, top_}, {at, bottom_}, mark_ink);
    else
      to.line({left_, at}, {right_, at}, mark_ink);
  }
}

void Plot::draw_labels(Drawing& to) const {
  if (!figure_.title.empty()) to.text({8.0, 18.0}, figure_.title, title_size, "start", true);
  for (std::size_t i = 0; i < key_.size(); ++i) {
    const auto& curve = figure_.curves[i];
    const double y = key_[i].y + row / 2.0;
    const Ink ink{curve_colour(i), 2.0, curve_dash(i)};
    if (curve.style == Curve::Style::line) to.line({key_[i].x, y}, {key_[i].x + 28.0, y}, ink);
    if (curve.style == Curve::Style::points) to.marker({key_[i].x + 14.0, y}, i, 3.5, {ink.colour});
    if (curve.style == Curve::Style::bars) to.area({key_[i].x + 8.0, y - 5.0}, 12.0, 10.0, {ink.colour, 0.0, "", 0.7});
    to.text({key_[i].x + 34.0, y + label_size / 3.0}, curve.label, label_size);
  }
  to.text({8.0, key_top_ + row - 4.0}, figure_.y_label, label_size);
  to.text({right_, size_.height - 8.0}, figure_.x_label, label_size, "end");
  for (const auto& label : x_labels_)
    to.text({label.at, top_ - 5.0 - static_cast<double>(label.row) * (label_size + 3.0)}, label.words, label_size,
            "middle");
  for (const auto& label : y_labels_) to.text({right_ + 6.0, label.at}, label.words, label_size);
}

std::string Plot::description() const {
  if (axes_.empty) return "No data to draw.";
  auto text = figure_.x_label + " from " + shown(axes_.x.low, 4) + " to " + shown(axes_.x.high, 4) + "; " +
              figure_.y_label + " from " + shown(axes_.y.low, 4) + " to " + shown(axes_.y.high, 4) + ".";
  for (const auto& curve : figure_.curves) {
    double least = INFINITY, greatest = -INFINITY;
    for (const double y : curve.y)
      if (std::isfinite(y)) least = std::min(least, y), greatest = std::max(greatest, y);
    text += " Curve " + curve.label + ": ";
    text += least > greatest ? "no data." : "least " + shown(least, 4) + ", greatest " + shown(greatest, 4) + ".";
    if (!curve.low.empty()) text += " Its intervals are drawn.";
  }
  for (const auto& mark : figure_.marks) {
    if (!std::isfinite(mark.value)) continue;
    text += " Mark " + mark.label + " at " + std::string(1, mark.axis) + " = " + shown(mark.value, 6);
    text += mark.half_width > 0.0 && std::isfinite(mark.half_width) ? ", ± " + shown(mark.half_width, 3) + "." : ".";
  }
  return text;
}

std::string Plot::draw() {
  lay_out();
  Drawing to{size_, figure_.title, description()};
  if (!axes_.empty) draw_axes(to);
  to.begin_window({left_, top_}, right_ - left_, bottom_ - top_);
  draw_marks(to);
  for (std::size_t i = 0; i < figure_.curves.size(); ++i) draw_curve(to, i);
  to.end_window();
  draw_labels(to);
  if (axes_.empty) to.text({(left_ + right_) / 2.0, (top_ + bottom_) / 2.0}, "no data", title_size, "middle");
  return std::move(to).finish();
}

}  // namespace

std::string draw_svg(const Figure& figure, PictureSize size) {
  size.width = std::max(size.width, 160);
  size.height = std::max(size.height, 120);
  return Plot{figure, size}.draw();
}

}  // namespace trackrod
