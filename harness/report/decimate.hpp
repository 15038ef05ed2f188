#pragma once
// Fewer points for a picture, with nothing lost that the eye could see. Pure.

#include <cstddef>

#include "harness/score/score.hpp"

namespace trackrod {

// Of each run of neighbouring points that share one of `columns` equal columns of [low, high] in x, the first, the
// last, the lowest and the highest, in their order. Points that are not finite stay as one break each. The greatest and
// the least y of the curve are always kept. Other styles than lines, and lines with intervals, come
// back unchanged.
Curve decimated(const Curve& curve, double low, double high, std::size_t columns);

}  // namespace trackrod
