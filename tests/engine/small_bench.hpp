#pragma once
// A bench of four signals and one device, made in code, for tests of the engine.

#include "harness/bench/bench.hpp"

namespace trackrod::test {

enum : SignalIndex { angle = 0, angle_cmd = 1, mode = 2, voltage = 3 };

inline SignalSpec signal(const std::string& name, const std::string& unit, Direction direction, double low,
                         double high) {
  SignalSpec s;
  s.info.name = name;
  s.info.unit = unit;
  s.info.direction = direction;
  s.info.device = "hand";
  s.info.bench_owned = true;
  s.info.range_low = low;
  s.info.range_high = high;
  s.field = name;
  return s;
}

inline Action set(SignalIndex signal, double value) {
  Action a;
  a.kind = Action::Kind::set;
  a.signal = signal;
  a.value = value;
  return a;
}

inline Action wait(SignalIndex signal, double low, double high, Duration at_most) {
  Action a;
  a.kind = Action::Kind::wait;
  a.until = {signal, low, high};
  a.at_most = at_most;
  return a;
}

inline Bench small_bench() {
  using namespace std::chrono_literals;
  Bench b;
  b.name = "small";
  b.tick = 1ms;
  DeviceSpec device;
  device.name = "hand";
  device.timeout = 20ms;
  b.devices.push_back(device);
  b.signals = {signal("angle", "deg", Direction::read, -200, 200),
               signal("angle_cmd", "deg", Direction::drive, -180, 180), signal("mode", "1", Direction::drive, 0, 3),
               signal("voltage", "V", Direction::read, 0, 16)};
  b.signals[angle_cmd].info.max_slew = 1000.0;
  b.signals[angle_cmd].start_from = angle;
  b.axes = {{"hand_wheel", mode, {{ControlMode::position, 1.0, angle_cmd}, {ControlMode::free, 0.0, no_signal}}}};
  b.interlocks = {{"hand_angle", {angle, -150, 150}, 5ms, "the end stops"}};
  b.arming = {wait(voltage, 12, 14, 1s)};
  b.safe_state = {{set(mode, 3.0), wait(angle, -200, 200, 100ms), set(mode, 0.0)}, 300ms};
  return b;
}

}  // namespace trackrod::test
