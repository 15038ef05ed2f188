#pragma once
// One finding as a small picture: the allowed zone, the interval, the value. Pure.

#include <string>

#include "harness/report/svg.hpp"
#include "harness/score/score.hpp"

namespace trackrod {

// Empty when the finding has no value or no limit: there is nothing to compare.
std::string draw_margin(const Finding& finding, PictureSize size = {260, 44});

}  // namespace trackrod
