#pragma once
// The plant, ready to steer, for tests.

#include "fixtures/plant/plant.hpp"

namespace trackrod::rig {

using namespace std::chrono_literals;

// Nothing but the linear servo: no friction, play, noise, delay or limit that small motions reach.
inline Truth linear() {
  Truth t;
  t.road.friction = t.road.play = t.road.wheel_friction = 0.0;
  t.road.dead_time = 0ms;
  t.road.rate_limit = 1e6;
  t.road.force_limit = 1e9;
  t.drive.friction = 0.0;
  t.drive.command_timeout = never;
  t.sensors = {.hand_delay = 0ms,
               .road_delay = 0ms,
               .hand_angle_noise = 0.0,
               .hand_speed_noise = 0.0,
               .hand_torque_noise = 0.0,
               .road_angle_noise = 0.0,
               .road_force_noise = 0.0};
  return t;
}

// Supply on, ignition on, past the unit's start.
inline void power_up(Plant& plant, double volts = 13.5) {
  plant.set(PlantInput::supply_voltage, volts);
  plant.set(PlantInput::supply_output, 1.0);
  plant.set(PlantInput::unit_ignition, 1.0);
  plant.advance_to(plant.now() + 1s);
}

// The linear servo with its limit of rate, and sensors and measurements without noise.
inline Truth quiet() {
  auto truth = linear();
  truth.hand.noise = truth.hand.resolution = truth.road.noise = 0.0;
  truth.fault.feed_noise = 0.0;
  truth.road.rate_limit = 60.0;
  return truth;
}

// Powered, holding the hand wheel turned at standstill.
inline void hold_turned(Plant& plant, double angle) {
  power_up(plant);
  plant.set(PlantInput::hand_mode, 1.0);
  plant.set(PlantInput::hand_angle_cmd, angle);
  plant.advance_to(plant.now() + 3s);
}

// First instant after now, ms, at which `is` holds, looked for every 0.1 ms.
template <class Is>
double ms_until(Plant& plant, Is is) {
  const auto from = plant.now();
  while (!is() && plant.now() < from + 5s) plant.advance_to(plant.now() + 100us);
  return 1e3 * seconds(plant.now() - from);
}

// Calls `each(time since now, s)` before every millisecond of `span`.
template <class Each>
void run(Plant& plant, Duration span, Each each) {
  const auto from = plant.now();
  for (Duration t{}; t < span; t += 1ms) {
    each(seconds(t));
    plant.advance_to(from + t + 1ms);
  }
}

}  // namespace trackrod::rig
