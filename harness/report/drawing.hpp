#pragma once
// Builds one SVG element, line by line. Knows shapes and text, not figures.

#include <string>
#include <string_view>
#include <vector>

#include "harness/report/svg.hpp"

namespace trackrod {

struct Spot {
  double x{0.0}, y{0.0};
};

// How a line or an area looks; `colour` is any SVG paint.
struct Ink {
  std::string_view colour{"currentColor"};
  double width{1.0};
  std::string_view dash{};  // stroke-dasharray; empty: solid
  double opacity{1.0};
};

// The colours of curves, in their order. Each has a contrast of at least 3:1 on white and on the dark page
// (WCAG 2.1, 1.4.11).
std::string_view curve_colour(std::size_t index);
// The dash pattern of the same curve, so that a print without colour still tells them apart.
std::string_view curve_dash(std::size_t index);

class Drawing {
 public:
  // `title` is read out by screen readers and shown as a tip; `description` tells in words what there is to see.
  Drawing(PictureSize size, const std::string& title, const std::string& description);

  void line(Spot from, Spot to, const Ink& ink);
  void path(const std::vector<Spot>& spots, const Ink& ink);
  void polygon(const std::vector<Spot>& corners, const Ink& fill);
  void area(Spot corner, double width, double height, const Ink& fill, const Ink* outline = nullptr);
  // One of four shapes: disc, square, triangle, diamond.
  void marker(Spot centre, std::size_t shape, double radius, const Ink& ink);
  // Anchor: "start", "middle" or "end" of the text is at `at`, on its baseline.
  void text(Spot at, const std::string& words, double size, std::string_view anchor = "start", bool bold = false);
  // What is drawn between these two is cut off at the rectangle; coordinates stay those of the picture.
  void begin_window(Spot corner, double width, double height);
  void end_window();

  std::string finish() &&;

 private:
  std::string out_;
};

// A guess at how wide DejaVu-like text of this size comes out, in pixels; on the wide side.
double text_width(const std::string& words, double size);

}  // namespace trackrod
