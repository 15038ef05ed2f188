#pragma once
// An up-and-down search as docs/plan-file.md describes it, on a unit whose limit scatters from try to try. Written for
// these tests alone.

#include <algorithm>
#include <functional>
#include <random>
#include <utility>
#include <vector>

namespace trackrod::test {

// Levels tried, from 0, the easiest, to `levels` - 1, and whether each was survived: while it is below `limit` levels,
// a new one for every try.
inline std::vector<std::pair<int, bool>> staircase(int levels, int tries, const std::function<double()>& limit) {
  std::vector<std::pair<int, bool>> out;
  int level = (levels - 1) / 2, stride = levels / 2;
  for (int i = 0; i < tries; ++i) {
    const bool survived = level < limit();
    out.emplace_back(level, survived);
    stride = std::max(1, stride / 2);
    level = std::clamp(level + (survived ? stride : -stride), 0, levels - 1);
  }
  return out;
}

// With a normal scatter about the limit.
inline std::vector<std::pair<int, bool>> staircase(int tries, double limit, double scatter, std::mt19937_64& random) {
  std::normal_distribution<double> normal;
  return staircase(128, tries, [&] { return limit + scatter * normal(random); });
}

}  // namespace trackrod::test
