#pragma once
// Closed forms sampled into what the scores read.

#include <functional>
#include <vector>

#include "harness/score/series.hpp"

namespace trackrod::test {

inline Series sampled(const std::function<double(double)>& f, double from, double to, double dt) {
  Series s;
  const auto count = static_cast<std::size_t>((to - from) / dt + 0.5) + 1;
  for (std::size_t i = 0; i < count; ++i) {
    s.t.push_back(from + dt * static_cast<double>(i));
    s.y.push_back(f(s.t.back()));
  }
  s.interval = dt;
  return s;
}

}  // namespace trackrod::test
