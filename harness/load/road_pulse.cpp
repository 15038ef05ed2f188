#include "harness/load/road_pulse.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

namespace trackrod {

bool RoadPulses::add(const RoadPulse& pulse) noexcept {
  if (!std::isfinite(pulse.force) || !std::isfinite(pulse.wait) || !std::isfinite(pulse.length)) return false;
  if (pulse.wait < 0.0 || pulse.length <= 0.0) return false;
  const auto free =
      std::find_if(places_.begin(), places_.end(), [](const UnderWay& p) { return p.way >= p.pulse.length; });
  if (free == places_.end()) return false;
  *free = {pulse, 0.0};
  return true;
}

double RoadPulses::advance(double step, double rolled) noexcept {
  double sum = 0.0;
  for (auto& [pulse, way] : places_) {
    if (way >= pulse.length) continue;
    if (pulse.wait > 0.0) {
      pulse.wait -= step;
      continue;
    }
    way += std::abs(rolled);
    if (way < pulse.length) sum += 0.5 * pulse.force * (1.0 - std::cos(2.0 * std::numbers::pi * way / pulse.length));
  }
  return sum;
}

}  // namespace trackrod
