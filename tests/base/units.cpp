// Units and quantities. Conversion factors: SI brochure, 9th edition, tables 4 and 8; standard gravity and the degree
// Celsius there too.

#include "harness/base/units.hpp"

#include <cmath>
#include <numbers>
#include <tuple>

#include "tests/catch.hpp"

using namespace trackrod;

namespace {
double convert(const std::string& quantity, const std::string& unit) {
  INFO(quantity << " in " << unit);
  const auto q = Quantity::parse(quantity);
  REQUIRE(q);
  const auto v = q->in(Unit::known(unit));
  REQUIRE(v);
  return *v;
}
}  // namespace

TEST_CASE("units that only look alike are refused, both ways") {
  using Pair = std::pair<const char*, const char*>;
  // Angle is no number, torque no energy, a time no frequency: udunits2 by itself would convert each of these.
  for (const auto& [a, b] : {Pair{"rad/s", "Hz"}, Pair{"s", "Hz"}, Pair{"deg", "1"}, Pair{"rad", "1"},
                             Pair{"rpm", "Hz"}, Pair{"deg/s", "deg"}, Pair{"Nm", "N"}, Pair{"Nm/rad", "Nm"},
                             Pair{"ms", "kHz"}, Pair{"%", "deg"}, Pair{"V", "A"}, Pair{"m/s", "s/m"}}) {
    CAPTURE(a, b);
    const auto first = Unit::known(a), second = Unit::known(b);
    CHECK_FALSE(first.same_dimension(second));
    CHECK_FALSE(second.same_dimension(first));
    for (const auto& c : {Conversion::between(first, second), Conversion::between(second, first)}) {
      REQUIRE_FALSE(c);
      CHECK(c.error().fault == Fault::bad_input);
      CHECK(c.error().context.find(a) != std::string::npos);
      CHECK(c.error().context.find(b) != std::string::npos);
    }
  }
}

TEST_CASE("there is no joule that a torque could be taken for") {
  for (const auto* text : {"J", "kJ", "mJ"}) {
    CAPTURE(text);
    CHECK_FALSE(Unit::parse(text));
  }
  CHECK_FALSE(Quantity::parse("3 J"));
}

TEST_CASE("quantities convert by the published factors") {
  constexpr double pi = std::numbers::pi;
  CHECK(convert("180 deg", "rad") == Approx(pi).epsilon(1e-12));
  CHECK(convert("1 rev", "deg") == Approx(360.0).epsilon(1e-12));
  CHECK(convert("60 rpm", "deg/s") == Approx(360.0).epsilon(1e-12));
  CHECK(convert("40 ms", "s") == Approx(0.04).epsilon(1e-12));
  CHECK(convert("50 us", "ms") == Approx(0.05).epsilon(1e-12));
  CHECK(convert("36 km/h", "m/s") == Approx(10.0).epsilon(1e-12));
  CHECK(convert("1 kHz", "Hz") == Approx(1000.0).epsilon(1e-12));
  CHECK(convert("2 min", "s") == Approx(120.0).epsilon(1e-12));
  CHECK(convert("1 gn", "m/s^2") == Approx(9.80665).epsilon(1e-12));
  CHECK(convert("25 %", "1") == Approx(0.25).epsilon(1e-12));
  CHECK(convert("12 N.m", "Nm") == Approx(12.0).epsilon(1e-12));
  CHECK(convert("1 V.A", "W") == Approx(1.0).epsilon(1e-12));
  CHECK(convert("1 V/A", "ohm") == Approx(1.0).epsilon(1e-12));
  CHECK(convert("1 N/m^2", "Pa") == Approx(1.0).epsilon(1e-12));
  CHECK(convert("3 mNm/deg", "Nm/rad") == Approx(0.003 * 180.0 / pi).epsilon(1e-12));
  CHECK(convert("20 degC", "K") == Approx(293.15).epsilon(1e-12));
}

TEST_CASE("raised digits are exponents") {
  CHECK(convert("3 m/s\u00B2", "m/s^2") == Approx(3.0).epsilon(1e-12));
  CHECK(convert("2 deg/s\u00B3", "deg/s^3") == Approx(2.0).epsilon(1e-12));
}

TEST_CASE("a difference of temperatures has no zero shift") {
  const auto c = Conversion::between(Unit::known("degC"), Unit::known("K"));
  REQUIRE(c);
  CHECK(c->gain() == Approx(1.0));
  CHECK(c->offset() == Approx(273.15));
}

TEST_CASE("a quantity is a finite number and a unit") {
  using Case = std::tuple<const char*, double, const char*>;
  for (const auto& [text, value, unit] :
       {Case{"12.5 deg", 12.5, "deg"}, Case{"40ms", 40.0, "ms"}, Case{"-3 V", -3.0, "V"}, Case{"+3 V", 3.0, "V"},
        Case{" 1e3 N ", 1000.0, "N"}, Case{"-.5 deg", -0.5, "deg"}, Case{"0.5", 0.5, "1"},
        Case{"4e6 deg/s^3", 4e6, "deg/s^3"}}) {
    CAPTURE(text);
    const auto q = Quantity::parse(text);
    REQUIRE(q);
    CHECK(q->value == value);
    CHECK(q->unit.text() == unit);
  }
  for (const auto* text : {"", "deg", "inf deg", "nan", "1e400 V", "1,5 V", "+-5 V", "- 5 V", "0x10 V", "12.5.3 V",
                           "40 12 ms", "12 deg 3", "5 deg @ 2", "3 N m", "5 foo", "7 s since 2000"}) {
    CAPTURE(text);
    const auto q = Quantity::parse(text);
    REQUIRE_FALSE(q);
    CHECK(q.error().fault == Fault::bad_input);
    CHECK_FALSE(q.error().context.empty());
  }
}

TEST_CASE("an unknown unit is told with the nearest known one") {
  const auto unit = Unit::parse("N m");
  REQUIRE_FALSE(unit);
  CHECK(unit.error().context.find("'N m'") != std::string::npos);
  CHECK(unit.error().context.find("'Nm'") != std::string::npos);
  using Pair = std::pair<const char*, const char*>;
  for (const auto& [wrong, right] : {Pair{"dge", "'deg'"}, Pair{"mss", "'ms'"}, Pair{"\u00B0/s", "'deg/s'"},
                                     Pair{"\u00B5s", "'us'"}, Pair{"k\u03A9", "'kohm'"}}) {
    CAPTURE(wrong);
    const auto none = Unit::parse(wrong);
    REQUIRE_FALSE(none);
    CHECK(none.error().context.find(right) != std::string::npos);
  }
}

TEST_CASE("a number is shown short") {
  CHECK(shown(12.5) == "12.5");
  CHECK(shown(0.0031) == "0.0031");
  CHECK(shown(1.2e6) == "1.2e+06");
  CHECK(shown(2.0 / 3.0, 3) == "0.667");
}
