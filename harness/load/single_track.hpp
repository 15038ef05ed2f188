#pragma once
// The single-track vehicle (Riekert and Schunck 1940; Mitschke, "Dynamik der Kraftfahrzeuge"; from memory) at a given
// speed, with saturating tyres whose slip builds up over the relaxation length (Pacejka, "Tire and Vehicle Dynamics",
// chapter 7; from memory). Nothing is divided by the speed, so it goes on through standstill and backwards.
//
// Positive is to the left. One thread; nothing is allocated, blocks or throws.

#include <array>

#include "harness/load/tyre.hpp"
#include "harness/load/vehicle_parameters.hpp"

namespace trackrod {

class SingleTrack {
 public:
  // A slow vehicle swings on its tyres like on springs: what rolling damps goes with the speed. Rubber damps too: s by
  // which a standing tyre is ahead of its slip, and m/s from which rolling alone is enough (common practice, no
  // source).
  static constexpr double rubber_damping = 0.05, rolling_damps = 5.0;

  // `step`: s, of each advance.
  SingleTrack(const VehicleParameters& vehicle, double step) noexcept;

  // One step: angle of the road wheels in rad, speed in m/s (negative backwards), grip 0 to 1.2. Semi-implicit: the
  // forces are taken at the end of the step, linear about what they would be without a change of motion.
  void advance(double angle, double speed, double grip) noexcept;

  struct Axle {
    double slip{0.0};   // tangent of the slip angle
    double force{0.0};  // N, across the wheel
  };
  const Axle& front() const noexcept { return axles_[0]; }
  const Axle& rear() const noexcept { return axles_[1]; }
  // Of the front tyres' pneumatic trail, -1 to 1: what is left of it, negative where the vehicle goes backwards and the
  // contact runs ahead of its middle. It comes in over the first half metre a second.
  double front_trail_share() const noexcept { return front_trail_share_; }

  double lateral_velocity() const noexcept { return lateral_velocity_; }          // m/s, of the centre of mass
  double yaw_rate() const noexcept { return yaw_rate_; }                          // rad/s
  double lateral_acceleration() const noexcept { return lateral_acceleration_; }  // m/s^2, of the centre of mass

 private:
  // What one tyre would do in this step, and how that changes with the motion of its hub.
  struct Prospect {
    double position, cosine;  // m ahead of the centre of mass; of the wheel's angle
    double kept, gain;        // slip = kept + gain x slide
    double damping;           // share of the slip's change that the force sees besides
    double force, stiffness;  // N without a change of motion; N s/m by which the hub's motion across takes from it
  };
  Prospect look_ahead(std::size_t axle, double angle, double speed, double grip) const noexcept;
  double slide(const Prospect& tyre, double angle, double speed) const noexcept;

  double step_, mass_, yaw_inertia_, relaxation_length_;
  std::array<double, 2> positions_;
  std::array<Tyre, 2> tyres_;
  std::array<Axle, 2> axles_{};
  std::array<double, 2> slips_{};  // without the damping of the rubber
  double front_trail_share_{0.0};
  double lateral_velocity_{0.0}, yaw_rate_{0.0}, lateral_acceleration_{0.0};
};

}  // namespace trackrod
