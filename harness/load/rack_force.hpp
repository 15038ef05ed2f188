#pragma once
// The force at the vehicle's rack, by what makes it. One thread; nothing is allocated, blocks or throws.

#include <optional>

#include "harness/load/parking.hpp"
#include "harness/load/presliding.hpp"
#include "harness/load/road_pulse.hpp"
#include "harness/load/single_track.hpp"

namespace trackrod {

// N at the rack; positive pushes the road wheel to the left.
struct RackForceParts {
  double aligning{0.0};  // the front tyres' lateral force, behind the steering axis
  double scrub{0.0};     // of a vehicle that stands or crawls
  double jacking{0.0};   // its weight
  double friction{0.0};
  double pulse{0.0};  // the road
  double total() const noexcept { return aligning + scrub + jacking + friction + pulse; }
};

class RackForce {
 public:
  // `step`: s, of each advance.
  RackForce(const VehicleParameters& vehicle, double step) noexcept;

  // See RoadPulses::add.
  bool add(const RoadPulse& pulse) noexcept { return pulses_.add(pulse); }
  // The force after a step to this angle of the road wheels (rad), speed (m/s) and grip (0 to 1.2) that `track` has
  // made. At the first step nothing has turned yet: no scrub, no friction.
  RackForceParts advance(const SingleTrack& track, double angle, double speed, double grip) noexcept;

 private:
  double step_, pneumatic_trail_, mechanical_trail_, steering_arm_, rack_friction_;
  Parking parking_;
  Presliding friction_;
  RoadPulses pulses_;
  std::optional<double> angle_;  // of the step before
};

// N at the rack for a pulse of this height (m) under one wheel, as RoadPulse wants it.
inline double pulse_force(const VehicleParameters& vehicle, double height) noexcept {
  return vehicle.pulse_force_per_height * height;
}

}  // namespace trackrod
