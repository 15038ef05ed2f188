#include "harness/load/load_model.hpp"

#include <algorithm>
#include <cmath>

namespace trackrod {

LoadModel::LoadModel(const VehicleParameters& vehicle, double step) noexcept
    : angle_scale_{vehicle.angle_scale},
      force_scale_{vehicle.force_scale},
      track_{vehicle, step},
      rack_{vehicle, step} {}

const LoadModel::Output& LoadModel::advance(const Input& input) noexcept {
  sound_ = sound_ && std::isfinite(input.angle) && std::isfinite(input.speed) && std::isfinite(input.grip);
  if (!sound_) return output_ = {};
  const double angle = std::clamp(input.angle * angle_scale_, -greatest_angle, greatest_angle);
  const double speed = std::clamp(input.speed, -greatest_speed, greatest_speed);
  const double grip = std::clamp(input.grip, 0.0, greatest_grip);

  track_.advance(angle, speed, grip);
  output_.parts = rack_.advance(track_, angle, speed, grip);
  output_.force = force_scale_ * output_.parts.total();
  output_.yaw_rate = track_.yaw_rate();
  output_.lateral_acceleration = track_.lateral_acceleration();
  output_.front_slip = std::atan(track_.front().slip);
  output_.rear_slip = std::atan(track_.rear().slip);

  // A vehicle that no table has checked can be one that the equations have no answer for.
  sound_ = std::isfinite(output_.force) && std::isfinite(output_.yaw_rate) &&
           std::isfinite(output_.lateral_acceleration) && std::isfinite(output_.front_slip) &&
           std::isfinite(output_.rear_slip);
  if (!sound_) output_ = {};
  return output_;
}

}  // namespace trackrod
