#include <algorithm>
#include <cmath>
#include <fstream>
#include <limits>
#include <random>
#include <sstream>

#include "harness/report/axis.hpp"
#include "harness/report/decimate.hpp"
#include "harness/report/drawing.hpp"
#include "harness/report/margin.hpp"
#include "harness/report/svg.hpp"
#include "tests/catch.hpp"
#include "tests/report/example.hpp"
#include "tests/report/judges.hpp"

using namespace trackrod;

namespace {

constexpr auto nan_value = std::numeric_limits<double>::quiet_NaN();
constexpr auto infinity = std::numeric_limits<double>::infinity();

Figure figure_of(Curve curve) {
  Figure f;
  f.title = "title";
  f.x_label = "x";
  f.y_label = "y";
  f.curves.push_back(std::move(curve));
  return f;
}

Curve noise(std::size_t count, unsigned seed) {
  std::mt19937 random{seed};
  std::normal_distribution<double> step{0.0, 1.0};
  Curve c;
  for (std::size_t i = 0; i < count; ++i) {
    c.x.push_back(static_cast<double>(i));
    c.y.push_back(step(random));
  }
  return c;
}

// The y coordinates of all polylines.
std::vector<double> heights(const std::string& svg) {
  std::vector<double> out;
  for (std::size_t at = 0; (at = svg.find("points=\"", at)) != std::string::npos;) {
    at += 8;
    std::istringstream points{svg.substr(at, svg.find('"', at) - at)};
    double x{}, y{};
    char comma{};
    while (points >> x >> comma >> y) out.push_back(y);
  }
  return out;
}

std::size_t count_of(const std::string& text, const std::string& part) {
  std::size_t n = 0;
  for (std::size_t at = 0; (at = text.find(part, at)) != std::string::npos; at += part.size()) ++n;
  return n;
}

// Relative luminance and contrast as WCAG 2.1 defines them.
double luminance(const std::string& colour) {
  const auto channel = [&](std::size_t at) {
    const double c = std::stoi(colour.substr(at, 2), nullptr, 16) / 255.0;
    return c <= 0.03928 ? c / 12.92 : std::pow((c + 0.055) / 1.055, 2.4);
  };
  return 0.2126 * channel(1) + 0.7152 * channel(3) + 0.0722 * channel(5);
}
double contrast(const std::string& a, const std::string& b) {
  const double x = luminance(a), y = luminance(b);
  return (std::max(x, y) + 0.05) / (std::min(x, y) + 0.05);
}

// Every value that the style sheet gives to a variable: light, dark, print.
std::vector<std::string> values_of(const std::string& variable) {
  std::ifstream file{std::string{TRACKROD_SOURCE_DIR} + "/harness/report/report.css"};
  const std::string css{std::istreambuf_iterator<char>{file}, {}};
  std::vector<std::string> out;
  for (std::size_t at = 0; (at = css.find(variable + ": #", at)) != std::string::npos; at += variable.size())
    out.push_back(css.substr(at + variable.size() + 2, 7));
  return out;
}

}  // namespace

TEST_CASE("figures are well-formed XML and the same bytes each time") {
  auto odd = example::step_figure();
  odd.title = "<&\"'> \x01 \xFF";
  odd.marks.push_back({"no number", 'y', nan_value, infinity});
  odd.marks.push_back({"far", 'x', 1e6, 0.0});
  for (const auto& f : {example::step_figure(), example::loop_figure(), odd, Figure{}}) {
    const auto svg = draw_svg(f);
    const auto answer = judges::xml(svg);
    CHECK(answer.said == "");
    CHECK(answer.good);
    CHECK(draw_svg(f) == svg);
    CHECK(svg.find("nan") == std::string::npos);
    CHECK(svg.find("inf") == std::string::npos);
    CHECK(svg.find("<title>") != std::string::npos);
    CHECK(svg.find("<desc>") != std::string::npos);
  }
}

TEST_CASE("curves differ by dash, not by colour alone") {
  const auto svg = draw_svg(example::loop_figure());
  CHECK(count_of(svg, std::string{"stroke-dasharray=\""} + std::string{curve_dash(1)} + "\"") == 2);  // curve and key
  CHECK(count_of(svg, std::string{"stroke-dasharray=\""} + std::string{curve_dash(2)} + "\"") == 2);
  CHECK(curve_dash(0) != curve_dash(1));
  CHECK(curve_dash(1) != curve_dash(2));
}

TEST_CASE("colours stand out on paper and on the dark page (WCAG 2.1: 3:1 for graphics, 4.5:1 for text)") {
  for (const auto* page : {"--paper", "--sheet"}) {
    const auto backs = values_of(page);
    REQUIRE(backs.size() == 3);
    for (std::size_t i = 0; i < backs.size(); ++i) {
      for (std::size_t c = 0; c < 6; ++c) {
        CAPTURE(backs[i], c);
        CHECK(contrast(std::string{curve_colour(c)}, backs[i]) >= 3.0);
      }
      for (const auto* word : {"--ink", "--soft", "--pass", "--fail", "--inconclusive", "--not-run"}) {
        const auto colours = values_of(word);
        REQUIRE(colours.size() == 3);
        CAPTURE(backs[i], word, colours[i]);
        CHECK(contrast(colours[i], backs[i]) >= 4.5);
      }
    }
  }
}

TEST_CASE("a value that is not finite breaks the line") {
  Curve c{"a", {0, 1, 2, 3, 4, 5, 6}, {0, 1, nan_value, 2, 3, infinity, 1}, Curve::Style::line};
  const auto svg = draw_svg(figure_of(c));
  CHECK(count_of(svg, "<polyline") == 2);
  CHECK(count_of(svg, "<circle") == 1);  // the lone last point
}

TEST_CASE("one sample among a million that sticks out is in the picture, with the height it has") {
  const auto seed = std::random_device{}();
  CAPTURE(seed);
  auto c = noise(1000000, seed);
  std::mt19937 random{seed};
  const auto at = std::uniform_int_distribution<std::size_t>{0, c.y.size() - 1}(random);
  c.y[at] = 50.0;
  const auto figure = figure_of(c);
  const auto svg = draw_svg(figure);
  CHECK(svg.size() < 200000);
  const auto y = heights(svg);
  const double top = *std::min_element(y.begin(), y.end()), bottom = *std::max_element(y.begin(), y.end());
  const double least = *std::min_element(c.y.begin(), c.y.end());
  const auto axis =
      figure_axes(figure, 5, 5).y;  // the curve spans what it spans on the axis of a plot some 200 pixels high
  CHECK(axis.fraction(50.0) - axis.fraction(least) > 0.85);
  CHECK(bottom - top > 0.85 * 200.0);
  CHECK(std::count(y.begin(), y.end(), top) == 1);
}

TEST_CASE("a decimated curve keeps its extremes, its breaks and its order") {
  const auto seed = std::random_device{}();
  CAPTURE(seed);
  std::mt19937 random{seed};
  for (int round = 0; round < 50; ++round) {
    auto c = noise(5000, static_cast<unsigned>(random()));
    c.y[std::uniform_int_distribution<std::size_t>{0, 4999}(random)] = nan_value;
    const auto few = decimated(c, 0.0, 4999.0, 100);
    std::vector<double> whole, kept;
    for (const double y : c.y)
      if (std::isfinite(y)) whole.push_back(y);
    for (const double y : few.y)
      if (std::isfinite(y)) kept.push_back(y);
    CHECK(*std::max_element(kept.begin(), kept.end()) == *std::max_element(whole.begin(), whole.end()));
    CHECK(*std::min_element(kept.begin(), kept.end()) == *std::min_element(whole.begin(), whole.end()));
    CHECK(few.x.size() <= 4 * 102 + 4);
    CHECK(few.y.size() - kept.size() == 1);
    std::size_t next = 0;  // every point kept is one of the curve, later than the one before
    for (std::size_t i = 0; i < few.x.size(); ++i) {
      if (!std::isfinite(few.y[i])) continue;
      while (next < c.x.size() && !(c.x[next] == few.x[i] && c.y[next] == few.y[i])) ++next;
      REQUIRE(next < c.x.size());
      ++next;
    }
  }
}

TEST_CASE("a loop, which goes back and forth in x, keeps its extremes too") {
  const auto loop = example::loop_figure().curves[0];
  const auto few = decimated(loop, -30.0, 30.0, 50);
  CHECK(few.x.size() < loop.x.size());
  CHECK(*std::max_element(few.y.begin(), few.y.end()) == *std::max_element(loop.y.begin(), loop.y.end()));
  CHECK(*std::min_element(few.y.begin(), few.y.end()) == *std::min_element(loop.y.begin(), loop.y.end()));
}

TEST_CASE("ticks are even, labelled with their value and at 1, 2 or 5 times a power of ten") {
  const auto seed = std::random_device{}();
  CAPTURE(seed);
  std::mt19937 random{seed};
  std::uniform_real_distribution<double> middle{-3.0, 3.0}, exponent{-5.0, 7.0};
  for (int i = 0; i < 2000; ++i) {
    const double span = std::pow(10.0, exponent(random)), low = middle(random) * span, high = low + span;
    const auto axis = make_axis(low, high, 6);
    CAPTURE(low, high);
    REQUIRE(axis.ticks.size() >= 3);
    REQUIRE(axis.ticks.size() <= 12);
    const double step = axis.ticks[1].at - axis.ticks[0].at;
    const double lead = step / std::pow(10.0, std::floor(std::log10(step) + 1e-6));
    REQUIRE((lead == Approx(1.0) || lead == Approx(2.0) || lead == Approx(5.0)));
    for (std::size_t t = 0; t < axis.ticks.size(); ++t) {
      REQUIRE(axis.ticks[t].at >= low - 1e-5 * step);
      REQUIRE(axis.ticks[t].at <= high + 1e-5 * step);
      REQUIRE(std::abs(std::stod(axis.ticks[t].label) - axis.ticks[t].at) < 1e-2 * step);
      if (t > 0) REQUIRE(axis.ticks[t].label != axis.ticks[t - 1].label);
    }
  }
}

TEST_CASE("a mark near the curves is taken in, a far one is named at the edge") {
  auto f = figure_of({"a", {0, 1}, {0, 10}, Curve::Style::line});
  f.marks = {{"limit", 'y', 12.0, 0.0}};
  CHECK(figure_axes(f, 5, 5).y.high > 12.0);
  f.marks = {{"limit", 'y', 400.0, 0.0}};
  CHECK(figure_axes(f, 5, 5).y.high < 20.0);
  CHECK(draw_svg(f).find("limit (400) ↑") != std::string::npos);
}

TEST_CASE("an interval is a band around a line and a bar through each point, and has its place on the axis") {
  Curve line{"a", {0, 1, 2, 3, 4}, {1, 2, nan_value, 2, 1}, Curve::Style::line};
  line.low = {0.5, 1.0, nan_value, 1.0, 0.5};
  line.high = {1.5, 6.0, nan_value, 3.0, 1.5};
  const auto figure = figure_of(line);
  const auto svg = draw_svg(figure);
  CHECK(judges::xml(svg).said == "");
  CHECK(count_of(svg, "<polygon") == 2);  // one to each side of the break
  CHECK(figure_axes(figure, 5, 5).y.high > 6.0);
  CHECK(svg.find("Its intervals are drawn.") != std::string::npos);

  auto points = line;
  points.style = Curve::Style::points;
  auto bare = points;
  bare.low.clear(), bare.high.clear();
  // A bar and its two ends at each of the four points.
  const auto more = count_of(draw_svg(figure_of(points)), "<line") - count_of(draw_svg(figure_of(bare)), "<line");
  CHECK(more >= 12);
}

TEST_CASE("an interval that reaches below all decades ends at the foot of the plot") {
  Curve points{"a", {1, 2}, {1, 10}, Curve::Style::points};
  points.low = {-1.0, 5.0};
  points.high = {3.0, 20.0};
  auto figure = figure_of(points);
  figure.y_log = true;
  const auto svg = draw_svg(figure);
  CHECK(svg.find("nan") == std::string::npos);
  CHECK(figure_axes(figure, 5, 5).y.low > 0.0);
}

TEST_CASE("an axis of less than a decade has round numbers, one of less than two has 1, 2 and 5") {
  const auto labels = [](double low, double high) {
    std::vector<std::string> all;
    for (const auto& tick : make_axis(low, high, 5, true).ticks) all.push_back(tick.label);
    return all;
  };
  CHECK(labels(0.6, 4.0) == std::vector<std::string>{"1.0", "1.5", "2.0", "2.5", "3.0", "3.5", "4.0"});
  CHECK(labels(0.3, 12.0) == std::vector<std::string>{"0.5", "1", "2", "5", "10"});
  auto figure = figure_of({"a", {1.0, 10.0, 100.0}, {1, 1, 1}, Curve::Style::line});
  figure.x_log = true;
  const auto x = figure_axes(figure, 5, 5).x;
  CHECK(x.fraction(10.0) - x.fraction(1.0) == Approx(x.fraction(100.0) - x.fraction(10.0)));
}

TEST_CASE("decades are evenly spaced, and what is not positive has no place on them") {
  const auto axis = make_axis(0.5, 1e5, 5, true);
  CHECK(axis.fraction(100.0) - axis.fraction(10.0) == Approx(axis.fraction(1e4) - axis.fraction(1e3)));
  CHECK(std::isnan(axis.fraction(0.0)));
  CHECK(std::isnan(axis.fraction(-1.0)));
}

TEST_CASE("the margin picture says in words what it shows, and shows nothing without a limit") {
  const auto findings = example::findings();
  const auto svg = draw_margin(findings[0]);
  CHECK(judges::xml(svg).said == "");
  CHECK(svg.find("value 43.7 ± 1.2 ms; interval 42.5 to 44.9 ms; limit ≤ 50 ms") != std::string::npos);
  CHECK(draw_margin(findings[3]).empty());  // no value
  CHECK(draw_margin(findings[4]).empty());  // no limit
}
