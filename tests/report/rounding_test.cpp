#include "harness/report/rounding.hpp"

#include <cctype>
#include <cmath>
#include <random>
#include <sstream>

#include "tests/catch.hpp"
#include "tests/report/judges.hpp"

using namespace trackrod;

namespace {

Finding with(double value, double half, const std::string& unit) {
  Finding f;
  f.value = value;
  f.unit = unit;
  f.interval = {value - half, value + half};
  return f;
}

int significant_digits(const std::string& text) {
  int count = 0;
  for (const char c : text)
    if (std::isdigit(static_cast<unsigned char>(c)) && (count > 0 || c != '0')) ++count;
  return count;
}

}  // namespace

// JCGM 100:2008, 7.2.6 (from memory, with its decimal comma written as a point).
TEST_CASE("uncertainties are stated as the examples of JCGM 100, 7.2.6") {
  CHECK(stated_uncertainty(10.47).text == "11");  // "10.47 mohm might be rounded up to 11 mohm"
  CHECK(stated_uncertainty(28.05).text == "28");  // "28.05 kHz should be rounded down to 28 kHz"
  CHECK(value_text(with(10.05762, 0.027, "ohm")) == "10.058 ± 0.027 ohm");
}

// JCGM 100:2008, 7.2.2 and 7.2.4: m = 100.02147 g, u = 0.35 mg, U = 0.79 mg (from memory); H.1: l = (50.000838 ±
// 0.000093) mm.
TEST_CASE("results are written as the worked examples of JCGM 100 write them") {
  CHECK(value_text(with(100.02147, 0.00035, "g")) == "100.02147 ± 0.00035 g");
  CHECK(value_text(with(100.02147, 0.00079, "g")) == "100.02147 ± 0.00079 g");
  CHECK(value_text(with(50.000838, 2.92 * 32e-6, "mm")) == "50.000838 ± 0.000093 mm");
}

TEST_CASE("an uncertainty has two digits, never says more than 1 % too little and never a tenth too much") {
  const auto seed = std::random_device{}();
  CAPTURE(seed);
  std::mt19937 random{seed};
  std::uniform_real_distribution<double> exponent{-11.0, 11.0};
  for (int i = 0; i < 20000; ++i) {
    const double u = std::pow(10.0, exponent(random));
    const auto stated = stated_uncertainty(u);
    CAPTURE(u, stated.text);
    REQUIRE(std::stod(stated.text) == Approx(stated.value).epsilon(1e-12));
    REQUIRE(stated.value >= 0.99 * u * (1.0 - 1e-12));
    REQUIRE(stated.value <= 1.1 * u);
    if (stated.decimals >= 0)
      REQUIRE(significant_digits(stated.text) == 2);
    else
      REQUIRE(std::fmod(stated.value, std::pow(10.0, -stated.decimals)) == 0.0);
  }
}

TEST_CASE("values are rounded to a place as Python's decimal module rounds them") {
  const auto seed = std::random_device{}();
  CAPTURE(seed);
  std::mt19937 random{seed};
  std::uniform_real_distribution<double> value{-1e4, 1e4};
  std::uniform_int_distribution<int> place{0, 9};
  std::ostringstream lines;
  lines.precision(17);
  for (int i = 0; i < 3000; ++i) {
    const double v = value(random);
    const int decimals = place(random);
    lines << v << " " << decimals << " " << to_place(v, decimals) << "\n";
  }
  const auto answer = judges::python(R"py(
import sys
from decimal import Decimal
for line in open(sys.argv[1]):
    value, places, ours = line.split()
    right = Decimal(float(value)).quantize(Decimal(1).scaleb(-int(places)))
    if Decimal(ours) != right:
        sys.exit('%s to %s places: %s, not %s' % (value, places, right, ours))
)py",
                                     lines.str());
  CHECK(answer.said == "");
  CHECK(answer.good);
}

TEST_CASE("a value left of the point is rounded to tens and hundreds") {
  CHECK(to_place(1234.0, -2) == "1200");
  CHECK(to_place(1250.1, -2) == "1300");
  CHECK(to_place(-0.004, 2) == "0.00");
  CHECK(value_text(with(12345.0, 1234.0, "N")) == "12300 ± 1300 N");
}

TEST_CASE("the ends of an interval are rounded outwards") {
  CHECK(interval_text(with(43.71, 1.12, "ms")) == "42.5 to 44.9 ms");
  CHECK(interval_text(with(50.0, 0.1, "ms")) == "49.90 to 50.10 ms");  // whole in its last place: left as it is
  const auto seed = std::random_device{}();
  CAPTURE(seed);
  std::mt19937 random{seed};
  std::uniform_real_distribution<double> value{-100.0, 100.0}, exponent{-6.0, 3.0};
  for (int i = 0; i < 5000; ++i) {
    const auto f = with(value(random), std::pow(10.0, exponent(random)), "1");
    const auto text = interval_text(f);
    CAPTURE(text);
    std::istringstream in{text};
    double low{}, high{};
    std::string to;
    REQUIRE(in >> low >> to >> high);
    const double unit = std::pow(10.0, -stated_uncertainty(((*f.interval)[1] - (*f.interval)[0]) / 2.0).decimals);
    REQUIRE(low <= (*f.interval)[0] + 2e-6 * unit);
    REQUIRE(high >= (*f.interval)[1] - 2e-6 * unit);
    REQUIRE(low > (*f.interval)[0] - 1.001 * unit);
    REQUIRE(high < (*f.interval)[1] + 1.001 * unit);
  }
}

TEST_CASE("an uneven interval shows both its arms, and what is missing is said") {
  auto f = with(3.1, 1.0, "%");
  f.interval = {2.6, 4.4};
  CHECK(value_text(f) == "3.10 -0.50 +1.30 %");
  f.interval.reset();
  CHECK(value_text(f) == "3.1 %");
  f.value = std::nan("");
  CHECK(value_text(f) == "no value");
  f.value = INFINITY;
  CHECK(value_text(f) == "no value");
  f.value.reset();
  CHECK(value_text(f) == "no value");
  CHECK(limit_text(f) == "no limit");
}

TEST_CASE("limits are told with their sign and unit") {
  auto f = with(1.0, 0.1, "ms");
  f.limit = Limit{Limit::Kind::at_most, 0.0, 50.0};
  CHECK(limit_text(f) == "≤ 50 ms");
  f.limit = Limit{Limit::Kind::at_least, 12.0, 0.0};
  CHECK(limit_text(f) == "≥ 12 ms");
  f.limit = Limit{Limit::Kind::within, 0.2, 0.5};
  CHECK(limit_text(f) == "0.2 to 0.5 ms");
}
