#pragma once
// What scores put into pictures: long series, thinned so that no extreme is lost, and findings with their intervals.

#include <string>
#include <vector>

#include "harness/score/score.hpp"

namespace trackrod {

// At most `most` points: in each of most/2 stretches of x the least and the greatest y, in their order. NaN in y breaks
// the line and is kept.
Curve thinned(const std::string& label, const std::vector<double>& x, const std::vector<double>& y,
              std::size_t most = 2000);

// A point at x for the finding, `scale` times its value, with its interval. A finding without a value is a NaN.
void add_finding(Curve& curve, double x, const Finding& finding, double scale = 1.0);
// A mark where the finding lies, `from` on, as wide to both sides as the longer arm of its interval. A finding without
// a value makes none.
void add_mark(Figure& figure, const std::string& label, char axis, const Finding& finding, double from = 0.0);
// The finding of that name, with the score's in front; which must be there.
const Finding& finding_named(const std::vector<Finding>& findings, const std::string& name);

}  // namespace trackrod
