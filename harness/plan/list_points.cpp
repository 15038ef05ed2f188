#include "harness/plan/list_points.hpp"

#include <cmath>

namespace trackrod {
namespace {

// A step that is led by the hour does not need the device's timing.
constexpr Duration longest_course = std::chrono::minutes{10};

}  // namespace

std::vector<ListPoint> list_points(const Motion& motion, Duration length, const ListAbility& ability,
                                   double resolution) {
  if (length > longest_course || motion.pieces.empty()) return {};
  const auto dwells = (length + ability.shortest / 2) / ability.shortest;
  std::vector<ListPoint> points;
  for (Duration::rep i = 0; i < dwells; ++i) {
    double value = motion.at(i * ability.shortest + ability.shortest / 2);
    if (resolution > 0.0) value = resolution * std::round(value / resolution);
    const bool goes_on =
        !points.empty() && points.back().value == value && points.back().dwell + ability.shortest <= ability.longest;
    if (goes_on) {
      points.back().dwell += ability.shortest;
      continue;
    }
    if (points.size() == ability.points) return {};
    points.push_back({value, ability.shortest});
  }
  bool changes = false;
  for (const auto& p : points) changes = changes || p.value != points.front().value;
  if (!changes) points.clear();
  return points;
}

}  // namespace trackrod
