#include "harness/load/tyre.hpp"

#include <cmath>

namespace trackrod {

Tyre::Tyre(double stiffness, double friction, double load) noexcept
    : stiffness_{stiffness}, friction_{friction}, load_{load} {}

double Tyre::sliding_share(double slip, double grip) const noexcept {
  const double greatest = sliding_slip(grip);
  return std::abs(slip) < greatest ? std::abs(slip) / greatest : 1.0;  // without grip all of it slides
}

double Tyre::force(double slip, double grip) const noexcept {
  const double u = sliding_share(slip, grip);
  if (u == 1.0) return std::copysign(friction_ * grip * load_, slip);
  return stiffness_ * slip * (1.0 - u + u * u / 3.0);
}

double Tyre::slope(double slip, double grip) const noexcept {
  const double sticking = 1.0 - sliding_share(slip, grip);
  return stiffness_ * sticking * sticking;
}

double Tyre::trail_share(double slip, double grip) const noexcept {
  const double u = sliding_share(slip, grip);
  const double sticking = 1.0 - u;
  return sticking * sticking * sticking / (1.0 - u + u * u / 3.0);
}

}  // namespace trackrod
