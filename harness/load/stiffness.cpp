#include "harness/load/stiffness.hpp"

#include <algorithm>
#include <cmath>

#include "harness/load/single_track.hpp"

namespace trackrod {

// Scrub goes, and slip comes, over the same relaxation length s. Turned at w by a vehicle that rolls at u, with rubber
// that is ahead of the slip by T, both together are (i w (k_s + k_t u T / s) + k_t u / s) / (i w + u / s): never more
// than the greater of k_s + k_t u T / s and k_t. The greatest u T is a quarter of the product of its two ends.
double greatest_stiffness(const VehicleParameters& v) noexcept {
  const double tyre = v.front_stiffness * (v.pneumatic_trail + std::abs(v.mechanical_trail));
  const double ahead = 0.25 * SingleTrack::rubber_damping * SingleTrack::rolling_damps / v.relaxation_length;
  const double wheels = std::max(v.scrub_stiffness + ahead * tyre, tyre) + v.jacking_stiffness;
  const double rack = wheels / (v.steering_arm * v.steering_arm) + v.rack_friction_stiffness;
  return v.angle_scale * v.force_scale * rack;
}

}  // namespace trackrod
