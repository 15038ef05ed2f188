#pragma once
// Quantities with units, through udunits2 and our own table of units (harness/base/units.xml): plane angle is a base
// quantity there, so that rad/s is no Hz and Nm is no joule, and reciprocals (s for Hz) are refused.

#include <memory>
#include <string>

#include "harness/base/error.hpp"

namespace trackrod {

class Unit {
 public:
  // Error kind bad_input; the sentence names the text and the nearest known unit.
  static Result<Unit> parse(const std::string& text);
  // As parse, for units written in the code; an unknown one ends the program.
  static Unit known(const std::string& text);

  Unit() = default;  // dimensionless
  const std::string& text() const { return text_; }
  // True when both measure the same kind of quantity.
  bool same_dimension(const Unit& other) const;

 private:
  friend class Conversion;
  std::string text_{"1"};
  std::shared_ptr<void> handle_;  // ut_unit; null = dimensionless
};

// y = gain * x + offset, between two units of one dimension.
class Conversion {
 public:
  // Error kind bad_input when the dimensions differ; the sentence names both units.
  static Result<Conversion> between(const Unit& from, const Unit& to);
  double operator()(double x) const { return gain_ * x + offset_; }
  // For differences and rates, where a zero shift has no meaning.
  double gain() const { return gain_; }
  double offset() const { return offset_; }

 private:
  double gain_{1.0}, offset_{0.0};
};

struct Quantity {
  double value{0.0};
  Unit unit;

  // "12.5 deg", "40 ms", "-3 V", "0.5" (dimensionless). Finite numbers only.
  static Result<Quantity> parse(const std::string& text);
  Result<double> in(const Unit& unit) const;
};

// A number as people read it: shortest form that keeps `digits` significant digits, "12.5", "0.0031", "1.2e+06".
std::string shown(double value, int digits = 6);

}  // namespace trackrod
