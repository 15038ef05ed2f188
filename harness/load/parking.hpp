#pragma once
// What turns against the road wheels of a vehicle that stands or crawls: the tyres' contacts scrub on the road, and its
// weight centres the wheels. One thread; nothing is allocated, blocks or throws.

#include "harness/load/presliding.hpp"
#include "harness/load/vehicle_parameters.hpp"

namespace trackrod {

class Parking {
 public:
  explicit Parking(const VehicleParameters& vehicle) noexcept;

  // Scrub torque of both wheels in Nm, positive to the left, after the wheels `turned` (rad) while the vehicle rolled
  // `rolled` (m, either way). Rolling brings fresh rubber to the road, which is not twisted: over each relaxation
  // length the torque falls by e, so that at speed nothing is left of it.
  double scrub(double turned, double rolled, double grip) noexcept;
  // Nm by which the vehicle's weight centres the wheels at `angle` (rad).
  double jacking(double angle) const noexcept { return -jacking_stiffness_ * angle; }

 private:
  double relaxation_length_, scrub_torque_, jacking_stiffness_;
  Presliding twist_;
};

}  // namespace trackrod
