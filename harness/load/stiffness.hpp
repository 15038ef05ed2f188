#pragma once
// How stiff a vehicle's load is: what a bench that is late has to have enough damping for.

#include "harness/load/vehicle_parameters.hpp"

namespace trackrod {

// N/m at the bench's rack, scales included: the most force by way that the load model asks for at any speed, where the
// wheels are turned faster than the vehicle follows. Any thread.
double greatest_stiffness(const VehicleParameters& vehicle) noexcept;

}  // namespace trackrod
