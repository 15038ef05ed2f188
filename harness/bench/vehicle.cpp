// The vehicle that the bench plays to the unit: its speeds, its rate of yaw and its power, and what they can be.

#include <algorithm>

#include "harness/bench/draft.hpp"

namespace trackrod {
namespace {

// More than 0, in the unit of the speed, or with `per_second` in that unit per second.
double positive(const written::LocatedQuantity& q, const Unit& speed, bool per_second, Draft& draft) {
  const auto v = draft.convert_difference(q, per_second ? Unit::known(speed.text() + "/s") : speed);
  if (!v) return 0.0;
  if (*v <= 0.0) draft.problems.add(q.at, "found " + shown(q.value), "more than 0, whichever way the vehicle goes");
  return *v;
}

void take_wheels(const written::Vehicle& w, const Where& at, VehicleSpec& vehicle, Draft& draft) {
  const auto& unit = draft.signals[vehicle.speed].unit;
  if (w.wheel_speeds.empty() == w.wheel_agreement.has_value())
    draft.problems.add(
        at, w.wheel_agreement ? "'wheel_agreement' without 'wheel_speeds'" : "'wheel_speeds' without 'wheel_agreement'",
        "both or neither", "in a bend the wheels outside run faster: leave room for it");
  if (w.wheel_agreement) vehicle.wheel_agreement = positive(*w.wheel_agreement, unit, false, draft);
  for (const auto& name : w.wheel_speeds) {
    const auto wheel = draft.find(name, Direction::drive, "a speed of a wheel");
    if (!wheel) continue;
    const auto& listed = vehicle.wheel_speeds;
    if (*wheel == vehicle.speed || std::find(listed.begin(), listed.end(), *wheel) != listed.end())
      draft.problems.add(name.at, "'" + name.value + "' a second time", "each signal once in 'vehicle'");
    else if (draft.info(*wheel).unit != unit.text())
      draft.problems.add(name.at, "'" + name.value + "' is in " + draft.info(*wheel).unit,
                         "a signal in " + unit.text() + ", the unit of '" + w.speed.value + "'",
                         "the signal's 'field_unit' may be another");
    else
      vehicle.wheel_speeds.push_back(*wheel);
  }
}

void take_yaw(const written::Vehicle& w, const Where& at, VehicleSpec& vehicle, Draft& draft) {
  if (w.yaw_rate.has_value() != w.max_lateral_acceleration.has_value())
    draft.problems.add(
        at,
        w.yaw_rate ? "'yaw_rate' without 'max_lateral_acceleration'" : "'max_lateral_acceleration' without 'yaw_rate'",
        "both or neither");
  if (!w.yaw_rate || !w.max_lateral_acceleration) return;
  const auto yaw = draft.find(*w.yaw_rate, Direction::drive, "the vehicle's rate of yaw");
  if (!yaw) return;
  const auto to_rate = Conversion::between(draft.signals[*yaw].unit, Unit::known("rad/s"));
  if (!to_rate) {
    draft.problems.add(w.yaw_rate->at, "'" + w.yaw_rate->value + "' is in " + draft.signals[*yaw].unit.text(),
                       "a signal that is a rate of turning, such as deg/s");
    return;
  }
  vehicle.yaw_rate = *yaw;
  // An angle in radians is a length over a length: speed times rate of yaw is an acceleration.
  vehicle.lateral_gain =
      to_rate->gain() * Conversion::between(draft.signals[vehicle.speed].unit, Unit::known("m/s"))->gain();
  const auto most = draft.convert_difference(*w.max_lateral_acceleration, Unit::known("m/s^2"));
  if (most && *most <= 0.0)
    draft.problems.add(w.max_lateral_acceleration->at, "found " + shown(w.max_lateral_acceleration->value),
                       "more than 0, either way");
  vehicle.max_lateral_acceleration = most.value_or(0.0);
}

void take_power(const written::Vehicle& w, const Where& at, VehicleSpec& vehicle, Draft& draft) {
  if (w.power_mode.has_value() != w.power_on.has_value())
    draft.problems.add(at, w.power_mode ? "'power_mode' without 'power_on'" : "'power_on' without 'power_mode'",
                       "both or neither");
  if (!w.power_mode || !w.power_on) return;
  const auto mode = draft.find(*w.power_mode, Direction::drive, "how far the vehicle is switched on");
  if (!mode) return;
  vehicle.power_mode = *mode;
  vehicle.power_on = *w.power_on;
}

}  // namespace

void resolve_vehicle(const written::Bench& file, Draft& draft) {
  if (!file.vehicle || !file.vehicle->good) return;
  const auto& w = file.vehicle->value;
  const auto speed = draft.find(w.speed, Direction::drive, "the speed of the vehicle");
  if (!speed) return;
  const auto& unit = draft.signals[*speed].unit;
  if (!unit.same_dimension(Unit::known("m/s"))) {
    draft.problems.add(w.speed.at, "'" + w.speed.value + "' is in " + unit.text(), "a signal that is a speed");
    return;
  }
  VehicleSpec vehicle;
  vehicle.speed = *speed;
  vehicle.max_speed = positive(w.max_speed, unit, false, draft);
  vehicle.max_acceleration = positive(w.max_acceleration, unit, true, draft);
  vehicle.max_deceleration = positive(w.max_deceleration, unit, true, draft);
  take_wheels(w, file.vehicle->at, vehicle, draft);
  take_yaw(w, file.vehicle->at, vehicle, draft);
  take_power(w, file.vehicle->at, vehicle, draft);
  draft.bench.vehicle = std::move(vehicle);
}

}  // namespace trackrod
