#include "harness/load/rack_force.hpp"

namespace trackrod {

RackForce::RackForce(const VehicleParameters& vehicle, double step) noexcept
    : step_{step},
      pneumatic_trail_{vehicle.pneumatic_trail},
      mechanical_trail_{vehicle.mechanical_trail},
      steering_arm_{vehicle.steering_arm},
      rack_friction_{vehicle.rack_friction},
      parking_{vehicle},
      friction_{vehicle.rack_friction_stiffness} {}

RackForceParts RackForce::advance(const SingleTrack& track, double angle, double speed, double grip) noexcept {
  const double turned = angle - angle_.value_or(angle), rolled = speed * step_;
  angle_ = angle;
  const double trail = mechanical_trail_ + pneumatic_trail_ * track.front_trail_share();
  RackForceParts parts;
  parts.aligning = -track.front().force * trail / steering_arm_;
  parts.scrub = parking_.scrub(turned, rolled, grip) / steering_arm_;
  parts.jacking = parking_.jacking(angle) / steering_arm_;
  parts.friction = friction_.advance(turned * steering_arm_, rack_friction_);
  parts.pulse = pulses_.advance(step_, rolled);
  return parts;
}

}  // namespace trackrod
