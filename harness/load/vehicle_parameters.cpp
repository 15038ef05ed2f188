#include "harness/load/vehicle_parameters.hpp"

namespace trackrod {
namespace {

// A car's yaw inertia is near mass x front_axle x rear_axle (common practice, no source). Ten times more or less is a
// slip of the unit.
constexpr double least_inertia_ratio = 0.1, greatest_inertia_ratio = 10.0;

bool check_inertia(const Node& n, const VehicleParameters& v, Problems& problems) {
  const double usual = v.mass * v.front_axle * v.rear_axle;
  if (v.yaw_inertia >= least_inertia_ratio * usual && v.yaw_inertia <= greatest_inertia_ratio * usual) return true;
  problems.add(
      n.find("yaw_inertia")->at, "found " + shown(v.yaw_inertia) + " kg.m^2",
      shown(least_inertia_ratio * usual, 3) + " to " + shown(greatest_inertia_ratio * usual, 3) +
          " kg.m^2 for this mass and these axles",
      "check the units of mass, front_axle, rear_axle and yaw_inertia; a car has about " + shown(usual, 3) + " kg.m^2");
  return false;
}

}  // namespace

const Fields<VehicleParameters>& vehicle_fields() {
  using V = VehicleParameters;
  static const auto fields =
      Fields<V>{"vehicle of the load model", "The vehicle that the load on the rack comes from"}
          .need("mass", &V::mass, quantity("kg", 1, 1e5), "of the vehicle as driven")
          .need("yaw_inertia", &V::yaw_inertia, quantity("kg.m^2", 1e-3, 1e7), "about the vertical axis")
          .need("front_axle", &V::front_axle, quantity("m", 0.1, 20), "ahead of the centre of mass")
          .need("rear_axle", &V::rear_axle, quantity("m", 0.1, 20), "behind the centre of mass")
          .need("front_stiffness", &V::front_stiffness, quantity("N/rad", 1, 1e7),
                "cornering stiffness of both front tyres together")
          .need("rear_stiffness", &V::rear_stiffness, quantity("N/rad", 1, 1e7),
                "cornering stiffness of both rear tyres together")
          .need("friction", &V::friction, number(0.05, 3), "of tyre on road, where grip is 1")
          .need("relaxation_length", &V::relaxation_length, quantity("m", 0.02, 5),
                "of road over which a tyre's slip builds up")
          .need("pneumatic_trail", &V::pneumatic_trail, quantity("m", 0, 0.5), "at no slip")
          .need("mechanical_trail", &V::mechanical_trail, quantity("m", -0.2, 0.5), "contact behind the steering axis")
          .need("steering_arm", &V::steering_arm, quantity("m/rad", 0.005, 2), "way of the rack a radian of road wheel")
          .need("scrub_torque", &V::scrub_torque, quantity("Nm", 0, 1e5),
                "greatest that turns both wheels of the standing vehicle, where grip is 1")
          .need("scrub_stiffness", &V::scrub_stiffness, quantity("Nm/rad", 1, 1e7), "of that, before the tyres slide")
          .need("jacking_stiffness", &V::jacking_stiffness, quantity("Nm/rad", 0, 1e6),
                "by which the vehicle's weight centres the wheels")
          .need("rack_friction", &V::rack_friction, quantity("N", 0, 1e5),
                "Coulomb friction of the parts that the vehicle has and the bench has not")
          .need("rack_friction_stiffness", &V::rack_friction_stiffness, quantity("N/m", 1, 1e9),
                "of that, before they slide")
          .need("pulse_force_per_height", &V::pulse_force_per_height, quantity("N/m", 0, 1e7),
                "force at the rack of a height under one wheel")
          .may("angle_scale", &V::angle_scale, number(1e-3, 1e3),
               "angle of the vehicle's road wheel by that of the bench's")
          .may("force_scale", &V::force_scale, number(1e-4, 1e3), "force at the bench's rack by that at the vehicle's");
  return fields;
}

Shape<VehicleParameters> vehicle() {
  const auto table = object(vehicle_fields);
  return {[table](const Node& n, VehicleParameters& out, Problems& problems) {
            return table.read(n, out, problems) && check_inertia(n, out, problems);
          },
          table.schema};
}

}  // namespace trackrod
