#include "harness/plan/injected.hpp"

#include <algorithm>

namespace trackrod {

std::vector<std::string> injected_faults(const Timeline& timeline, const Bench& bench) {
  std::vector<std::string> names;
  for (std::size_t i = 0; i < bench.faults.size(); ++i) {
    const auto makes_it = [i](const TimelineStep& step) {
      return std::ranges::any_of(step.injections, [i](const Injection& made) { return made.fault == i; });
    };
    if (std::ranges::any_of(timeline.steps(), makes_it)) names.push_back(bench.faults[i].name);
  }
  return names;
}

}  // namespace trackrod
