#pragma once
// The vehicle that the load model stands for, as a bench file describes it. docs/load-model.md has the symbols.

#include "harness/base/fields.hpp"

namespace trackrod {

// Nothing but the scales has a default that means something: a vehicle is told, not guessed.
struct VehicleParameters {
  double mass{0.0};                     // kg
  double yaw_inertia{0.0};              // kg m^2
  double front_axle{0.0};               // m ahead of the centre of mass
  double rear_axle{0.0};                // m behind it
  double front_stiffness{0.0};          // N/rad of slip angle, both tyres of the axle
  double rear_stiffness{0.0};           // N/rad
  double friction{0.0};                 // of tyre on road, where grip is 1
  double relaxation_length{0.0};        // m of road over which a tyre's slip builds up
  double pneumatic_trail{0.0};          // m, at no slip
  double mechanical_trail{0.0};         // m, contact behind the steering axis
  double steering_arm{0.0};             // m of rack a radian of road wheel
  double scrub_torque{0.0};             // Nm, greatest, both wheels, standing where grip is 1
  double scrub_stiffness{0.0};          // Nm/rad, before the tyres slide
  double jacking_stiffness{0.0};        // Nm/rad, by which the vehicle's weight centres the wheels
  double rack_friction{0.0};            // N, Coulomb, of the parts that the vehicle has and the bench has not
  double rack_friction_stiffness{0.0};  // N/m, before they slide
  double pulse_force_per_height{0.0};   // N at the rack a metre of height under one wheel
  double angle_scale{1.0};              // rad at the vehicle's road wheel a radian at the bench's
  double force_scale{1.0};              // N at the bench's rack a newton at the vehicle's
  double wheelbase() const { return front_axle + rear_axle; }
};

// The table alone: each value within its own range.
const Fields<VehicleParameters>& vehicle_fields();
// What a bench file holds: the table, and what the values mean together.
Shape<VehicleParameters> vehicle();

}  // namespace trackrod
