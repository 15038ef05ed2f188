#pragma once
// Figures on a terminal. Pure.

#include <string>

#include "harness/score/score.hpp"

namespace trackrod {

struct PlotOptions {
  int width{80};       // columns, labels included; at least 30
  int height{12};      // rows of the plot itself; at least 4
  bool unicode{true};  // false: ASCII only
};

// Title, plot with axes, and a key when there is more than one curve. Ends with a line feed. With unicode the curves
// are drawn in braille dots and each carries its letter at both ends; in ASCII each is drawn with its letter.
std::string draw_terminal(const Figure& figure, PlotOptions options = {});

}  // namespace trackrod
