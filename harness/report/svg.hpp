#pragma once
// Figures as SVG: readable in print, in a dark or a light page and without colour. Pure: same figure, same bytes.

#include <string>

#include "harness/score/score.hpp"

namespace trackrod {

struct PictureSize {
  int width{720};  // in CSS pixels
  int height{320};
};

// A whole <svg> element, with title and description in words, that stands alone as a file or inside a page. Text and
// axes take the page's text colour. Curves differ by dash or marker as well as by colour. For Style::bars, x is the
// middle of a bar. An interval is a band around a line and a bar through a point. Points that are not finite break a
// line. A mark that would squeeze the curves is named at the edge instead.
std::string draw_svg(const Figure& figure, PictureSize size = {});

}  // namespace trackrod
