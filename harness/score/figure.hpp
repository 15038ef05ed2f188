#pragma once
// Long series as pictures: thinned so that no extreme is lost.

#include <string>
#include <vector>

#include "harness/score/score.hpp"

namespace trackrod {

// At most `most` points: in each of most/2 stretches of x the least and the greatest y, in their order. NaN in y breaks
// the line and is kept.
Curve thinned(const std::string& label, const std::vector<double>& x, const std::vector<double>& y,
              std::size_t most = 2000);

}  // namespace trackrod
