#include "harness/report/drawing.hpp"

#include <array>

#include "harness/report/text.hpp"

namespace trackrod {
namespace {

constexpr std::array<std::string_view, 6> colours{"#1b7f9e", "#c0601c", "#7d62b8", "#4d8a3a", "#c2496b", "#75808a"};
constexpr std::array<std::string_view, 6> dashes{"", "8 3", "2 2.5", "9 3 2 3", "4 2", "12 3 2 3 2 3"};

// A tenth of a pixel is finer than print shows.
std::string px(double value) {
  auto text = fixed(value, 1);
  if (text.ends_with(".0")) text.resize(text.size() - 2);
  return text;
}

std::string attribute(std::string_view name, std::string_view value) {
  return " " + std::string{name} + "=\"" + std::string{value} + "\"";
}

std::string stroke(const Ink& ink) {
  auto text = attribute("stroke", ink.colour) + attribute("stroke-width", px(ink.width));
  if (!ink.dash.empty()) text += attribute("stroke-dasharray", ink.dash);
  if (ink.opacity < 1.0) text += attribute("stroke-opacity", fixed(ink.opacity, 2));
  return text;
}

std::string fill(const Ink& ink) {
  auto text = attribute("fill", ink.colour);
  if (ink.opacity < 1.0) text += attribute("fill-opacity", fixed(ink.opacity, 2));
  return text;
}

std::string list_of(const std::vector<Spot>& spots) {
  std::string text;
  for (const auto& spot : spots) text += (text.empty() ? "" : " ") + px(spot.x) + "," + px(spot.y);
  return text;
}

}  // namespace

std::string_view curve_colour(std::size_t index) { return colours[index % colours.size()]; }
std::string_view curve_dash(std::size_t index) { return dashes[index % dashes.size()]; }

double text_width(const std::string& words, double size) { return 0.6 * size * static_cast<double>(columns(words)); }

Drawing::Drawing(PictureSize size, const std::string& title, const std::string& description) {
  const auto w = std::to_string(size.width), h = std::to_string(size.height);
  out_ = "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"" + w + "\" height=\"" + h + "\" viewBox=\"0 0 " + w + " " +
         h + "\" role=\"img\" font-family=\"system-ui, 'DejaVu Sans', sans-serif\" fill=\"none\">\n<title>" +
         escaped(title) + "</title>\n<desc>" + escaped(description) + "</desc>\n";
}

void Drawing::line(Spot from, Spot to, const Ink& ink) {
  out_ += "<line" + attribute("x1", px(from.x)) + attribute("y1", px(from.y)) + attribute("x2", px(to.x)) +
          attribute("y2", px(to.y)) + stroke(ink) + "/>\n";
}

void Drawing::path(const std::vector<Spot>& spots, const Ink& ink) {
  out_ +=
      "<polyline" + attribute("points", list_of(spots)) + stroke(ink) + attribute("stroke-linejoin", "round") + "/>\n";
}

void Drawing::polygon(const std::vector<Spot>& corners, const Ink& inside) {
  out_ += "<polygon" + attribute("points", list_of(corners)) + fill(inside) + "/>\n";
}

void Drawing::area(Spot corner, double width, double height, const Ink& inside, const Ink* outline) {
  out_ += "<rect" + attribute("x", px(corner.x)) + attribute("y", px(corner.y)) + attribute("width", px(width)) +
          attribute("height", px(height)) + fill(inside) + (outline ? stroke(*outline) : "") + "/>\n";
}

void Drawing::marker(Spot centre, std::size_t shape, double r, const Ink& ink) {
  const auto at = [&](double dx, double dy) { return px(centre.x + dx) + "," + px(centre.y + dy); };
  if (shape % 4 == 0) {
    out_ += "<circle" + attribute("cx", px(centre.x)) + attribute("cy", px(centre.y)) + attribute("r", px(r)) +
            fill(ink) + "/>\n";
    return;
  }
  std::string corners;
  if (shape % 4 == 1) corners = at(-r, -r) + " " + at(r, -r) + " " + at(r, r) + " " + at(-r, r);
  if (shape % 4 == 2) corners = at(0, -1.2 * r) + " " + at(1.2 * r, r) + " " + at(-1.2 * r, r);
  if (shape % 4 == 3) corners = at(0, -1.4 * r) + " " + at(1.4 * r, 0) + " " + at(0, 1.4 * r) + " " + at(-1.4 * r, 0);
  out_ += "<polygon" + attribute("points", corners) + fill(ink) + "/>\n";
}

void Drawing::text(Spot at, const std::string& words, double size, std::string_view anchor, bool bold) {
  out_ += "<text" + attribute("x", px(at.x)) + attribute("y", px(at.y)) + attribute("font-size", px(size)) +
          attribute("fill", "currentColor");
  if (anchor != "start") out_ += attribute("text-anchor", anchor);
  if (bold) out_ += attribute("font-weight", "600");
  out_ += ">" + escaped(words) + "</text>\n";
}

void Drawing::begin_window(Spot corner, double width, double height) {
  const auto x = px(corner.x), y = px(corner.y), w = px(width), h = px(height);
  out_ += "<svg" + attribute("x", x) + attribute("y", y) + attribute("width", w) + attribute("height", h) +
          attribute("viewBox", x + " " + y + " " + w + " " + h) + attribute("overflow", "hidden") + ">\n";
}

void Drawing::end_window() { out_ += "</svg>\n"; }

std::string Drawing::finish() && { return std::move(out_) + "</svg>\n"; }

}  // namespace trackrod
