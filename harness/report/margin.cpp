#include "harness/report/margin.hpp"

#include <algorithm>
#include <cmath>

#include "harness/base/units.hpp"
#include "harness/report/drawing.hpp"
#include "harness/report/rounding.hpp"

namespace trackrod {
namespace {

constexpr double label_size = 10.0;
constexpr Ink zone{"currentColor", 0.0, "", 0.16}, edge{"currentColor", 2.0},
    ground{"currentColor", 1.0, "1.5 2.5", 0.7};

struct Reach {
  double low, high;
  void take(double value) {
    low = std::min(low, value);
    high = std::max(high, value);
  }
};

// Everything that must be seen, with room about it. One-sided zones go on to the picture's edge.
Reach reach_of(const Finding& f) {
  Reach reach{*f.value, *f.value};
  if (f.interval)
    for (const double end : *f.interval)
      if (std::isfinite(end)) reach.take(end);
  if (f.limit->kind != Limit::Kind::at_most) reach.take(f.limit->low);
  if (f.limit->kind != Limit::Kind::at_least) reach.take(f.limit->high);
  double room = 0.25 * (reach.high - reach.low);
  if (!(room > 0.0)) room = std::max(std::abs(reach.low) * 0.1, 1e-9);
  return {reach.low - room, reach.high + room};
}

std::string words_for(const Finding& f) {
  auto words = "value " + value_text(f);
  if (const auto interval = interval_text(f); !interval.empty()) words += "; interval " + interval;
  return words + "; limit " + limit_text(f);
}

}  // namespace

std::string draw_margin(const Finding& f, PictureSize size) {
  if (!f.value || !std::isfinite(*f.value) || !f.limit) return "";
  Drawing to{size, f.name, words_for(f)};
  const auto reach = reach_of(f);
  const double left = 6.0, right = size.width - 6.0, middle = size.height * 0.38, half = 9.0;
  const auto px = [&](double v) { return left + (v - reach.low) / (reach.high - reach.low) * (right - left); };
  to.line({left, middle}, {right, middle}, ground);
  const bool from_edge = f.limit->kind == Limit::Kind::at_most, to_edge = f.limit->kind == Limit::Kind::at_least;
  const double a = from_edge ? left : px(f.limit->low), b = to_edge ? right : px(f.limit->high);
  to.area({a, middle - half}, b - a, 2.0 * half, zone);
  const auto bound = [&](double at, double value, double into) {
    to.line({at, middle - half - 3.0}, {at, middle + half + 3.0}, edge);
    to.line({at, middle + half + 3.0}, {at + into, middle + half + 3.0}, edge);  // the foot points into the zone
    const auto words = shown(value, 6);
    const double room = text_width(words, label_size) / 2.0;
    to.text({std::clamp(at, left + room, right - room), middle + half + 16.0}, words, label_size, "middle");
  };
  if (!from_edge) bound(a, f.limit->low, 5.0);
  if (!to_edge) bound(b, f.limit->high, -5.0);
  const Ink ink{curve_colour(0), 2.4};
  if (f.interval && std::isfinite((*f.interval)[0]) && std::isfinite((*f.interval)[1])) {
    const double from = px((*f.interval)[0]), up_to = px((*f.interval)[1]);
    to.line({from, middle}, {up_to, middle}, ink);
    for (const double end : {from, up_to}) to.line({end, middle - 5.0}, {end, middle + 5.0}, ink);
  }
  to.marker({px(*f.value), middle}, 3, 3.6, ink);
  return std::move(to).finish();
}

}  // namespace trackrod
