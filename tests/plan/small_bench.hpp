#pragma once
// A bench made by hand, and plans worked out against it.

#include <memory>
#include <string>
#include <vector>

#include "harness/plan/timeline.hpp"
#include "tests/load/van.hpp"

namespace trackrod::test {

enum : SignalIndex { angle, angle_cmd, torque_cmd, mode_cmd, speed, load, volts };

inline SignalSpec small_signal(const std::string& name, const std::string& unit, Direction direction, double low,
                               double high) {
  SignalSpec s;
  s.info.name = name;
  s.info.unit = unit;
  s.info.direction = direction;
  s.info.range_low = low;
  s.info.range_high = high;
  return s;
}

inline Bench small_bench() {
  Bench b;
  b.name = "small";
  b.tick = std::chrono::milliseconds{1};
  b.signals = {small_signal("axis.angle", "deg", Direction::read, -200, 200),
               small_signal("axis.angle_cmd", "deg", Direction::drive, -160, 160),
               small_signal("axis.torque_cmd", "Nm", Direction::drive, -10, 10),
               small_signal("axis.mode", "1", Direction::drive, 0, 3),
               small_signal("speed", "km/h", Direction::drive, 0, 200),
               small_signal("load", "N", Direction::drive, -6000, 6000),
               small_signal("volts", "V", Direction::drive, 0, 16)};
  b.signals[angle_cmd].info.max_slew = 1000;
  b.signals[angle_cmd].start_from = angle;
  b.signals[speed].info.max_slew = 36;  // 10 m/s^2
  b.signals[load].info.max_slew = 50e3;
  b.signals[load].max_jerk = 1e9;
  b.axes = {{"axis",
             mode_cmd,
             {{ControlMode::position, 1, angle_cmd},
              {ControlMode::torque, 2, torque_cmd},
              {ControlMode::free, 3, no_signal}}}};
  b.interlocks = {{"axis_torque", {angle, -168, 168}, std::chrono::milliseconds{80}, "the stops"}};
  FaultSpec relay, slow;
  relay.name = "relay_open", slow.name = "speed_stuck";
  std::get<SignalFault>(relay.way).signal = volts, std::get<SignalFault>(slow.way).signal = speed;
  relay.not_with = {1}, slow.not_with = {0};
  b.faults = {relay, slow};
  LoadSpec road;
  road.vehicle = van();
  road.angle = angle, road.speed = speed, road.force = load;
  road.fade = std::chrono::milliseconds{200};
  b.load = road;
  b.safe_state.within = std::chrono::milliseconds{800};
  b.arming = {{Action::Kind::set, volts, 13.5, {}, {}}};
  return b;
}

// Two scores that only these tests know.
struct SmallDelay {
  std::string order;
};
struct SmallBus {
  double gap{0};
};
inline const Fields<SmallDelay>& small_delay_fields() {
  static const auto fields =
      Fields<SmallDelay>{"score", "Lateness"}.may("order", &SmallDelay::order, word(), "of the model");
  return fields;
}
inline const Fields<SmallBus>& small_bus_fields() {
  static const auto fields = Fields<SmallBus>{"score", "Timing of the run"}.may(
      "gap", &SmallBus::gap, number(1.1, 1000), "what counts as a gap");
  return fields;
}
inline const Catalogue& catalogue() {
  static const Catalogue known{
      {},
      {},
      {{kind("delay", small_delay_fields),
        {{"input", "what is moved"}, {"output", "what answers"}},
        {{"dead_time", "ms", "pure delay"},
         {"lost_motion", "output", "play"},
         {"speed_error", "input/s", "rate"},
         {"gain", "output/input", "gain"},
         {"share", "%", "share"}}},
       {kind("bus", small_bus_fields), {}, {{"gaps", "1", "gaps"}}},
       {kind("trend", small_bus_fields), {{"input", "what is followed"}}, {{"change", "%", "of it"}}, true}}};
  return known;
}

struct Worked {
  std::unique_ptr<Plan> plan;
  std::unique_ptr<Timeline> timeline;
  std::vector<Problem> problems;
  std::string sentences() const {
    std::string all;
    for (const auto& p : problems) all += p.sentence() + "\n";
    return all;
  }
};

inline Worked work_out(const std::string& text, const Assignments& set = {}, const Bench& bench = small_bench()) {
  Problems problems;
  Worked w;
  w.plan = parse_plan({{"plan.json", text}}, set, bench, catalogue(), problems);
  if (w.plan) w.timeline = Timeline::compile(*w.plan, bench, problems);
  w.problems = problems.sorted();
  return w;
}

// A plan for the position axis of the small bench.
inline std::string plan_of(const std::string& steps, const std::string& start = "") {
  return R"({"plan": "p", "control": {"axis": "position"}, "start": {)" + start + R"(}, "steps": [)" + steps + "]}";
}

// The values of one signal at each millisecond of the whole program.
inline std::vector<double> sampled(const Timeline& timeline, SignalIndex signal,
                                   Duration every = std::chrono::milliseconds{1}) {
  std::vector<double> values;
  double now = 0;
  for (const auto& [s, v] : timeline.start())
    if (s == signal) now = v;
  Duration at{};
  for (Timeline::Cursor c{timeline}; c.current() != nullptr; c.next()) {
    const auto& step = *c.current();
    const Motion* motion = nullptr;
    for (const auto& channel : step.channels)
      if (channel.signal == signal) motion = &channel.motion;
    for (; at < step.length; at += every) values.push_back(motion != nullptr ? motion->at(at) : now);
    at -= step.length;
    if (motion != nullptr) now = motion->end;
  }
  values.push_back(now);
  return values;
}

}  // namespace trackrod::test
