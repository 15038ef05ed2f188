#include "harness/report/terminal_plot.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <vector>

#include "harness/base/units.hpp"
#include "harness/report/axis.hpp"
#include "harness/report/text.hpp"

namespace trackrod {
namespace {

// One cell of the plot: dots of a braille sign (Unicode block 2800, two columns of four), or a sign that stands for it.
struct Cell {
  unsigned dots{0};
  std::string sign;  // wins over the dots; empty: none
};

std::string braille(unsigned dots) {
  return {'\xE2', static_cast<char>(0xA0 | dots >> 6), static_cast<char>(0x80 | (dots & 0x3F))};
}

// Draws in dots: 2 x 4 a cell with braille, 1 x 1 in ASCII.
class Canvas {
 public:
  Canvas(int width, int height, bool unicode)
      : unicode_{unicode}, across_{unicode ? 2 : 1}, down_{unicode ? 4 : 1}, width_{width}, height_{height} {
    cells_.resize(static_cast<std::size_t>(width) * static_cast<std::size_t>(height));
  }
  int dots_wide() const { return width_ * across_; }
  int dots_high() const { return height_ * down_; }

  void dot(int x, int y, char letter) {
    if (x < 0 || y < 0 || x >= dots_wide() || y >= dots_high()) return;
    auto& cell = at(x / across_, y / down_);
    if (!unicode_) {
      cell.sign = letter;
      return;
    }
    static constexpr unsigned bits[4][2] = {{0x01, 0x08}, {0x02, 0x10}, {0x04, 0x20}, {0x40, 0x80}};
    cell.dots |= bits[y % 4][x % 2];
  }
  // Both ends included. Steps along the longer side, so the line has no holes.
  void line(double x0, double y0, double x1, double y1, char letter) {
    const int steps = std::max(1, static_cast<int>(std::ceil(std::max(std::abs(x1 - x0), std::abs(y1 - y0)))));
    for (int i = 0; i <= steps; ++i) {
      const double t = static_cast<double>(i) / steps;
      dot(static_cast<int>(std::lround(x0 + t * (x1 - x0))), static_cast<int>(std::lround(y0 + t * (y1 - y0))), letter);
    }
  }
  void sign(int column, int row, std::string what, bool over) {
    if (column < 0 || row < 0 || column >= width_ || row >= height_) return;
    auto& cell = at(column, row);
    if (over || (cell.dots == 0 && cell.sign.empty())) cell.sign = std::move(what);
  }
  void letter_at(double x, double y, char letter) {
    sign(static_cast<int>(std::lround(x)) / across_, static_cast<int>(std::lround(y)) / down_, std::string(1, letter),
         true);
  }
  std::string row(int number) {
    std::string out;
    for (int i = 0; i < width_; ++i) {
      const auto& cell = at(i, number);
      out += !cell.sign.empty() ? cell.sign : cell.dots ? braille(cell.dots) : " ";
    }
    out.erase(out.find_last_not_of(' ') + 1);
    return out;
  }

 private:
  Cell& at(int column, int row) { return cells_[static_cast<std::size_t>(row * width_ + column)]; }
  bool unicode_;
  int across_, down_, width_, height_;
  std::vector<Cell> cells_;
};

char letter_of(std::size_t curve) { return static_cast<char>('a' + curve % 26); }

struct Frame {
  const FigureAxes& axes;
  Canvas& canvas;
  // Far outside is as good as outside, and keeps lines to it short.
  double x(double value) const { return std::clamp(axes.x.fraction(value), -1.0, 2.0) * (canvas.dots_wide() - 1); }
  double y(double value) const {
    return (1.0 - std::clamp(axes.y.fraction(value), -1.0, 2.0)) * (canvas.dots_high() - 1);
  }
};

void draw_curve(const Curve& curve, char letter, bool lettered, const Frame& frame) {
  struct Place {
    double x, y;
  };
  std::optional<Place> before, first;
  for (std::size_t i = 0; i < std::min(curve.x.size(), curve.y.size()); ++i) {
    const double x = frame.x(curve.x[i]), y = frame.y(curve.y[i]);
    if (!std::isfinite(x) || !std::isfinite(y)) {
      before.reset();
      continue;
    }
    if (curve.style == Curve::Style::bars)
      frame.canvas.line(x, frame.axes.y.log ? frame.canvas.dots_high() - 1 : frame.y(0.0), x, y, letter);
    else if (curve.style == Curve::Style::line && before)
      frame.canvas.line(before->x, before->y, x, y, letter);
    else
      frame.canvas.line(x, y, x, y, letter);
    before = Place{x, y};
    if (!first) first = before;
    if (lettered && i + 1 == std::min(curve.x.size(), curve.y.size())) frame.canvas.letter_at(x, y, letter);
  }
  if (lettered && first) frame.canvas.letter_at(first->x, first->y, letter);
}

void draw_marks(const Figure& figure, const FigureAxes& axes, Canvas& canvas, int width, int height, bool unicode) {
  for (const auto& mark : figure.marks) {
    const bool along_x = mark.axis == 'x';
    const double at = (along_x ? axes.x : axes.y).fraction(mark.value);
    if (!(at >= 0.0 && at <= 1.0)) continue;
    if (along_x)
      for (int row = 0; row < height; ++row)
        canvas.sign(static_cast<int>(std::lround(at * (width - 1))), row, unicode ? "┊" : ":", false);
    else
      for (int column = 0; column < width; ++column)
        canvas.sign(column, static_cast<int>(std::lround((1.0 - at) * (height - 1))), unicode ? "┄" : "-", false);
  }
}

// The line below the plot: labels of the x axis, each under its tick where there is room.
std::string tick_line(const Axis& axis, int indent, int width) {
  std::string out;
  for (const auto& tick : axis.ticks) {
    const int middle = indent + static_cast<int>(std::lround(axis.fraction(tick.at) * (width - 1)));
    const int start = middle - static_cast<int>(columns(tick.label)) / 2;
    if (start < static_cast<int>(out.size()) + (out.empty() ? 0 : 1) ||
        start + static_cast<int>(tick.label.size()) > indent + width)
      continue;
    out += std::string(static_cast<std::size_t>(start) - out.size(), ' ') + tick.label;
  }
  return out;
}

std::string key_text(const Figure& figure, bool lettered) {
  std::string out;
  const auto add = [&](const std::string& words) { out += (out.empty() ? "" : "; ") + words; };
  for (std::size_t i = 0; lettered && i < figure.curves.size(); ++i)
    add(std::string(1, letter_of(i)) + " " + figure.curves[i].label);
  for (const auto& mark : figure.marks) {
    if (!std::isfinite(mark.value)) continue;
    auto words = mark.label + " at " + mark.axis + " = " + shown(mark.value, 6);
    if (mark.half_width > 0.0 && std::isfinite(mark.half_width)) words += " ± " + shown(mark.half_width, 3);
    add(words);
  }
  return out;
}

}  // namespace

std::string draw_terminal(const Figure& figure, PlotOptions options) {
  options.width = std::max(options.width, 30);
  options.height = std::max(options.height, 4);
  const auto axes = figure_axes(figure, options.width / 12, options.height / 3);
  std::size_t widest = 0;
  for (const auto& tick : axes.y.ticks) widest = std::max(widest, columns(tick.label));
  widest = std::min(widest, static_cast<std::size_t>(options.width) / 3);
  const int indent = static_cast<int>(widest) + 2, width = options.width - indent;

  Canvas canvas{width, options.height, options.unicode};
  const bool lettered = figure.curves.size() > 1;
  for (std::size_t i = 0; i < figure.curves.size(); ++i)
    draw_curve(figure.curves[i], lettered ? letter_of(i) : '*', lettered, {axes, canvas});
  draw_marks(figure, axes, canvas, width, options.height, options.unicode);

  std::vector<std::string> labels(static_cast<std::size_t>(options.height));
  for (const auto& tick : axes.y.ticks)
    labels[static_cast<std::size_t>(std::lround((1.0 - axes.y.fraction(tick.at)) * (options.height - 1)))] = tick.label;

  std::string out;
  const auto room = static_cast<std::size_t>(options.width);
  const auto say = [&](const std::string& words, bool right = false) {
    if (words.empty()) return;
    const auto spelt = options.unicode ? words : ascii_only(words);  // before it is wrapped: it may grow
    for (const auto& line : wrapped(spelt, room))
      out += (right ? std::string(room - columns(line), ' ') : "") + line + "\n";
  };
  say(figure.title);
  say(figure.y_label);
  for (int row = 0; row < options.height; ++row) {
    const auto& label = labels[static_cast<std::size_t>(row)];
    out += std::string(widest - std::min(widest, columns(label)), ' ') + label + (label.empty() ? " │" : " ┤") +
           canvas.row(row) + "\n";
  }
  std::string base;
  for (int i = 0; i < width; ++i) base += "─";
  out += std::string(widest + 1, ' ') + "└" + base + "\n" + tick_line(axes.x, indent, width) + "\n";
  say(figure.x_label, true);
  if (axes.empty) out += "no data\n";
  say(key_text(figure, lettered));
  return options.unicode ? out : ascii_only(out);
}

}  // namespace trackrod
