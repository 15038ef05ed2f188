#include "harness/score/lag_parameter.hpp"

#include <algorithm>
#include <cmath>
#include <limits>

namespace trackrod {
namespace {

using P = LagParameter;

constexpr double least_damping = 0.05, most_damping = 5.0;
constexpr double most_natural = 1e4;  // rad/s; no bench samples that fast
constexpr double unbounded = std::numeric_limits<double>::infinity();

}  // namespace

LagModel moved(LagModel m, int which, double by) {
  switch (which) {
    case P::dead_time:
      m.dead_time += by;
      break;
    case P::gain:
      m.gain += by;
      break;
    case P::offset:
      m.offset += by;
      break;
    case P::shape:
      m.natural = std::min(most_natural, m.natural * std::exp(by));
      break;
    case P::damping:
      m.damping = std::clamp(m.damping * std::exp(by), least_damping, most_damping);
      break;
    case P::play:
      m.play = std::max(0.0, m.play + by);
      break;
    default:
      m.friction = std::max(0.0, m.friction + by);
  }
  return m;
}

double room_below(const LagModel& m, int which) {
  if (which == P::play) return m.play;
  if (which == P::friction) return m.friction;
  if (which == P::damping) return std::max(0.0, std::log(m.damping / least_damping));
  return unbounded;
}

double room_above(const LagModel& m, int which) {
  if (which == P::shape) return std::max(0.0, std::log(most_natural / m.natural));
  return which == P::damping ? std::max(0.0, std::log(most_damping / m.damping)) : unbounded;
}

}  // namespace trackrod
