#pragma once
// The vehicle behind the rack, in one call a tick: road-wheel angle, speed and grip -> force at the rack, yaw rate,
// lateral acceleration and slip angles. docs/load-model.md has the equations, their sources and what they are not.

#include "harness/load/rack_force.hpp"
#include "harness/load/single_track.hpp"
#include "harness/load/vehicle_parameters.hpp"

namespace trackrod {

class LoadModel {
 public:
  // Values beyond these are held to them.
  static constexpr double greatest_angle = 1.2;    // rad at the vehicle's road wheel
  static constexpr double greatest_speed = 100.0;  // m/s
  static constexpr double greatest_grip = 1.2;

  struct Input {
    double angle{0.0};  // rad of the bench's road wheel, positive to the left
    double speed{0.0};  // m/s, negative backwards
    double grip{1.0};   // 0 to 1.2: of the friction of tyre on road
  };
  struct Output {
    double force{0.0};                 // N at the bench's rack; positive pushes the road wheel to the left
    double yaw_rate{0.0};              // rad/s of the vehicle, as all below
    double lateral_acceleration{0.0};  // m/s^2, of the centre of mass
    double front_slip{0.0};            // rad, positive where the tyre pushes to the left
    double rear_slip{0.0};             // rad
    RackForceParts parts;              // N at the vehicle's rack
  };

  // `vehicle` as the field table lets it pass; `step`: s, of each advance. A vehicle at rest, with nothing twisted.
  LoadModel(const VehicleParameters& vehicle, double step) noexcept;

  // One step. One thread; nothing is allocated, blocks or throws. Any finite input gives a finite output. After an
  // input that is not finite the model is not sound: its output is zero from then on, and whoever drives the bench by
  // it trips.
  const Output& advance(const Input& input) noexcept;
  bool sound() const noexcept { return sound_; }
  // A pulse of the road, with its force at the vehicle's rack. See RoadPulses::add.
  bool add(const RoadPulse& pulse) noexcept { return rack_.add(pulse); }

 private:
  double angle_scale_, force_scale_;
  SingleTrack track_;
  RackForce rack_;
  Output output_;
  bool sound_{true};
};

}  // namespace trackrod
