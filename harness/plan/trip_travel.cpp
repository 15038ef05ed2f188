#include "harness/plan/trip_travel.hpp"

#include <algorithm>
#include <cmath>

namespace trackrod {
namespace {

const AxisSpec* position_axis(const Bench& bench, SignalIndex setpoint) {
  for (const auto& axis : bench.axes)
    for (const auto& mode : axis.modes)
      if (mode.setpoint == setpoint && mode.mode == ControlMode::position) return &axis;
  return nullptr;
}

}  // namespace

std::optional<TripTravel> trip_travel(const Bench& bench, SignalIndex setpoint, const Extent& asked) {
  const auto* axis = position_axis(bench, setpoint);
  if (axis == nullptr || !std::isfinite(asked.rate)) return {};
  // An interlock on a signal of the axis' own device is what notices that the axis runs away.
  const Interlock* slowest = nullptr;
  for (const auto& interlock : bench.interlocks) {
    const bool own = bench.signals[interlock.condition.signal].device == bench.signals[setpoint].device;
    if (own && (slowest == nullptr || interlock.grace > slowest->grace)) slowest = &interlock;
  }
  if (slowest == nullptr) return {};
  const auto& info = bench.signals[setpoint].info;
  if (info.range_low >= info.range_high) return {};
  TripTravel travel{axis->name, slowest->name, asked.rate, 0, 0, 0};
  travel.in_grace = asked.rate * seconds(slowest->grace);
  travel.until_safe = asked.rate * seconds(slowest->grace + bench.safe_state.within);
  travel.room = std::min(info.range_high - asked.high, asked.low - info.range_low);
  return travel;
}

}  // namespace trackrod
