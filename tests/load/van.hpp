#pragma once
// An invented van, of a size that the trade would find ordinary (common practice, no source).

#include "harness/load/vehicle_parameters.hpp"

namespace trackrod::test {

inline VehicleParameters van() {
  VehicleParameters v;
  v.mass = 1800.0;
  v.yaw_inertia = 3000.0;
  v.front_axle = 1.2;
  v.rear_axle = 1.6;
  v.front_stiffness = 90e3;
  v.rear_stiffness = 110e3;
  v.friction = 0.9;
  v.relaxation_length = 0.4;
  v.pneumatic_trail = 0.035;
  v.mechanical_trail = 0.02;
  v.steering_arm = 0.1375;
  v.scrub_torque = 400.0;
  v.scrub_stiffness = 8e3;
  v.jacking_stiffness = 150.0;
  v.rack_friction = 100.0;
  v.rack_friction_stiffness = 5e5;
  v.pulse_force_per_height = 40e3;
  return v;
}

}  // namespace trackrod::test
