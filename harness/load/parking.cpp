#include "harness/load/parking.hpp"

#include <cmath>

namespace trackrod {

Parking::Parking(const VehicleParameters& vehicle) noexcept
    : relaxation_length_{vehicle.relaxation_length},
      scrub_torque_{vehicle.scrub_torque},
      jacking_stiffness_{vehicle.jacking_stiffness},
      twist_{vehicle.scrub_stiffness} {}

double Parking::scrub(double turned, double rolled, double grip) noexcept {
  twist_.let_go(1.0 / (1.0 + std::abs(rolled) / relaxation_length_));  // semi-implicit, as the slip is
  return twist_.advance(turned, scrub_torque_ * grip);
}

}  // namespace trackrod
