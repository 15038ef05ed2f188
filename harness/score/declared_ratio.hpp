#pragma once
// A ratio as it is declared over the input: points with straight lines between them, level beyond.

#include <vector>

#include "harness/base/fields.hpp"

namespace trackrod {

struct DeclaredPoint {
  double at{0.0};     // input unit
  double ratio{0.0};  // input unit per output unit, local; signed
};
const Fields<DeclaredPoint>& declared_fields();

// `points`: one or more, in order of `at`.
double declared_at(const std::vector<DeclaredPoint>& points, double x);
// What the whole stretch makes of it: its length over the change of the output, which is the integral of 1 / ratio.
double declared_over(const std::vector<DeclaredPoint>& points, double from, double to);

}  // namespace trackrod
