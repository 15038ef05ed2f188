#include "harness/load/single_track.hpp"

#include <algorithm>
#include <cmath>

namespace trackrod {
namespace {

constexpr double gravity = 9.80665;  // m/s^2

// m/s from which a contact runs behind the middle of the tyre, as it does on the road.
constexpr double crawl = 0.5;
// The sideways motion of the centre of mass is held to the speed and this, m/s: a vehicle that spins is beyond the
// model.
constexpr double sideways_at_standstill = 2.0;

// -1 to 1: direction of rolling, without a jump at standstill.
double rolling(double speed) { return std::clamp(speed / crawl, -1.0, 1.0); }

}  // namespace

SingleTrack::SingleTrack(const VehicleParameters& vehicle, double step) noexcept
    : step_{step},
      mass_{vehicle.mass},
      yaw_inertia_{vehicle.yaw_inertia},
      relaxation_length_{vehicle.relaxation_length},
      positions_{vehicle.front_axle, -vehicle.rear_axle},
      tyres_{Tyre{vehicle.front_stiffness, vehicle.friction,
                  vehicle.mass * gravity * vehicle.rear_axle / vehicle.wheelbase()},
             Tyre{vehicle.rear_stiffness, vehicle.friction,
                  vehicle.mass * gravity * vehicle.front_axle / vehicle.wheelbase()}} {}

// m/s by which the hub slides against where the wheel points, positive to the right: it pushes to the left.
double SingleTrack::slide(const Prospect& tyre, double angle, double speed) const noexcept {
  return speed * std::sin(angle) - (lateral_velocity_ + tyre.position * yaw_rate_) * tyre.cosine;
}

SingleTrack::Prospect SingleTrack::look_ahead(std::size_t axle, double angle, double speed,
                                              double grip) const noexcept {
  Prospect p{};
  p.position = positions_[axle];
  p.cosine = std::cos(angle);
  const double along = speed * p.cosine + (lateral_velocity_ + p.position * yaw_rate_) * std::sin(angle);
  // relaxation_length dy/dt = slide - |along| y, with y at the end of the step.
  const double leak = 1.0 + step_ * std::abs(along) / relaxation_length_;
  p.kept = slips_[axle] / leak;
  p.gain = step_ / relaxation_length_ / leak;
  p.damping = rubber_damping / step_ * std::max(0.0, 1.0 - std::abs(speed) / rolling_damps);
  const double slip = p.kept + p.gain * slide(p, angle, speed);
  const double seen = slip + p.damping * (slip - slips_[axle]);
  p.force = tyres_[axle].force(seen, grip);
  p.stiffness = tyres_[axle].slope(seen, grip) * (1.0 + p.damping) * p.gain * p.cosine;
  return p;
}

void SingleTrack::advance(double angle, double speed, double grip) noexcept {
  const std::array<double, 2> angles{angle, 0.0};
  const std::array<Prospect, 2> prospects{look_ahead(0, angles[0], speed, grip), look_ahead(1, angles[1], speed, grip)};

  // m (dv/dt + speed (r + dr)) = sum F and J dr/dt = sum x F, with F = force - stiffness (dv + x dr).
  double force = 0.0, moment = 0.0, by_velocity = 0.0, crossed = 0.0, by_rate = 0.0;
  for (const auto& p : prospects) {
    const double stiffness = p.stiffness * p.cosine;
    force += p.force * p.cosine;
    moment += p.position * p.force * p.cosine;
    by_velocity += stiffness;
    crossed += p.position * stiffness;
    by_rate += p.position * p.position * stiffness;
  }
  const double a = mass_ / step_ + by_velocity, b = crossed + mass_ * speed, c = crossed,
               d = yaw_inertia_ / step_ + by_rate;
  const double pull = force - mass_ * speed * yaw_rate_;
  const double determinant = a * d - b * c;
  const double change = (d * pull - b * moment) / determinant;
  yaw_rate_ += (a * moment - c * pull) / determinant;
  const double most = std::abs(speed) + sideways_at_standstill;
  lateral_velocity_ = std::clamp(lateral_velocity_ + change, -most, most);

  double sum = 0.0;
  for (std::size_t i = 0; i < 2; ++i) {
    const auto& p = prospects[i];
    double slip = p.kept + p.gain * slide(p, angles[i], speed);
    if (std::abs(speed) < crawl) {  // a standing tyre that slides winds up no further
      const double most_slip = tyres_[i].sliding_slip(grip);
      slip = std::clamp(slip, -most_slip, most_slip);
    }
    axles_[i].slip = slip + p.damping * (slip - slips_[i]);
    slips_[i] = slip;
    axles_[i].force = tyres_[i].force(axles_[i].slip, grip);
    sum += axles_[i].force * p.cosine;
  }
  front_trail_share_ = rolling(speed) * tyres_[0].trail_share(axles_[0].slip, grip);
  lateral_acceleration_ = sum / mass_;
}

}  // namespace trackrod
