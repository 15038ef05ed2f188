#include "harness/report/terminal_plot.hpp"

#include <cmath>
#include <sstream>

#include "harness/report/text.hpp"
#include "tests/catch.hpp"
#include "tests/report/example.hpp"

using namespace trackrod;

namespace {

std::vector<std::string> lines_of(const std::string& text) {
  std::istringstream in{text};
  std::vector<std::string> lines;
  for (std::string line; std::getline(in, line);) lines.push_back(line);
  return lines;
}

}  // namespace

TEST_CASE("a plot keeps within its width, with and without Unicode") {
  for (const int width : {30, 60, 80, 120})
    for (const bool unicode : {true, false}) {
      CAPTURE(width, unicode);
      const auto text = draw_terminal(example::step_figure(), {width, 10, unicode});
      for (const auto& line : lines_of(text)) {
        CAPTURE(line);
        CHECK(columns(line) <= static_cast<std::size_t>(width));
      }
      if (!unicode)
        for (const char c : text) CHECK(static_cast<unsigned char>(c) < 0x80);
      CHECK(text == draw_terminal(example::step_figure(), {width, 10, unicode}));
      CHECK(text.find("angle / deg") != std::string::npos);
    }
}

TEST_CASE("one sample that sticks out is seen on the terminal") {
  Figure f;
  f.title = "title";
  Curve c;
  for (int i = 0; i < 100000; ++i) {
    c.x.push_back(i);
    c.y.push_back(i == 43210 ? 8.0 : 0.0);
  }
  f.curves = {c};
  const auto lines = lines_of(draw_terminal(f, {80, 10, false}));
  CHECK(lines[1].find('*') != std::string::npos);
  f.curves[0].y[43210] = 0.0;
  f.marks = {{"mark", 'y', 8.0, 0.0}};  // same axis, no spike
  CHECK(lines_of(draw_terminal(f, {80, 10, false}))[1].find('*') == std::string::npos);
}

// The Unicode chart of braille patterns (U+2800): dots 1, 2, 3, 7 down the left column are bits 0, 1, 2, 6.
TEST_CASE("dots are set as the Unicode chart of braille patterns has them") {
  Figure f;
  Curve c{"", {}, {}, Curve::Style::points};
  for (int i = 0; i <= 400; ++i) {  // the left edge of the plot, from bottom to top: whole left columns
    c.x.push_back(0.0);
    c.y.push_back(i);
  }
  c.x.push_back(1000.0);
  c.y.push_back(0.0);
  f.curves = {c};
  f.marks = {{"edge", 'x', -5000.0, 0.0}};
  const auto text = draw_terminal(f, {60, 8, true});
  const bool left = text.find("\xE2\xA1\x87") != std::string::npos;   // U+2847: dots 1 2 3 7
  const bool right = text.find("\xE2\xA2\xB8") != std::string::npos;  // U+28B8: dots 4 5 6 8
  CHECK((left || right));
}

TEST_CASE("several curves carry letters, which the key explains") {
  const auto text = draw_terminal(example::loop_figure(), {80, 12, true});
  CHECK(text.find("a 12 deg/s; b 24 deg/s; c 36 deg/s; centre at x = 0") != std::string::npos);
}

TEST_CASE("a figure without data says so") {
  Figure f;
  f.curves = {{"a", {1.0, 2.0}, {std::nan(""), std::nan("")}, Curve::Style::line}};
  CHECK(draw_terminal(f).find("no data\n") != std::string::npos);
}
