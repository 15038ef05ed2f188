#pragma once
// A rack with a scripted angle, a bench whose load model answers to it, and what the engine then sends.

#include <functional>
#include <limits>

#include "tests/catch.hpp"
// clang-format off: the rig uses the test library
#include "tests/engine/fake_rig.hpp"
#include "tests/load/van.hpp"
// clang-format on

namespace trackrod::test {

enum : SignalIndex { road_angle = 0, speed_cmd = 1, force_cmd = 2, yaw_cmd = 3, sideways_cmd = 4, force_seen = 5 };

inline Bench road_bench() {
  using namespace std::chrono_literals;
  Bench b;
  b.name = "road";
  b.tick = 1ms;
  DeviceSpec device;
  device.name = "road";
  device.timeout = 20ms;
  b.devices.push_back(device);
  b.signals = {signal("road.angle", "deg", Direction::read, -45, 45),
               signal("vehicle.speed", "km/h", Direction::drive, 0, 200),
               signal("road.load_cmd", "N", Direction::drive, -6000, 6000),
               signal("vehicle.yaw_rate", "deg/s", Direction::drive, -100, 100),
               signal("vehicle.sideways", "m/s^2", Direction::drive, -15, 15),
               signal("road.force", "N", Direction::read, -10000, 10000)};
  b.signals[speed_cmd].info.max_slew = 360.0;
  b.signals[force_cmd].info.max_slew = 50e3;
  b.safe_state = {{set(force_cmd, 0.0), wait(road_angle, -45, 45, 100ms)}, 300ms};
  constexpr double degree = 3.14159265358979323846 / 180.0;
  b.load = LoadSpec{van(),        road_angle, speed_cmd, force_cmd, yaw_cmd,
                    sideways_cmd, degree,     1.0 / 3.6, 1.0,       1.0 / degree,
                    1.0,          10ms,       500ms,     {},        LoadEnergy{force_seen, 1.0, 20.0, 2s}};
  return b;
}

class RackDevice final : public Device {
 public:
  std::function<double(BenchTime)> angle{[](BenchTime) { return 0.0; }};
  std::function<bool(BenchTime)> shows{[](BenchTime) { return true; }};  // false: it is heard, and tells no angle

  Duration actuator{std::chrono::milliseconds{5}};  // the force that shows was sent that long ago

  void publish(BenchTime now, SampleSink& sink) noexcept {
    heard_ = now;
    while (forces_.size() > 1 && forces_[1].first + actuator <= now) forces_.erase(forces_.begin());
    sink.put({now, forces_.empty() ? 0.0 : forces_.front().second, 0, force_seen, StampedBy::kernel});
    if (shows(now)) sink.put({now, angle(now), 0, road_angle, StampedBy::kernel});
  }
  void arrived(std::span<const std::byte>, Stamp, SampleSink&) noexcept override {}
  bool set(SignalIndex signal, double value) noexcept override {
    if (signal == force_cmd) force_ = value;
    return true;
  }
  Sent transmit(BenchTime now) noexcept override {
    forces_.emplace_back(now, force_);
    return Sent::sent;
  }
  int last_error() const noexcept override { return 0; }
  BenchTime last_heard() const noexcept override { return heard_; }
  bool settled(SignalIndex) const noexcept override { return true; }
  std::uint32_t take_message() noexcept override { return 0; }
  void remember(ProtocolMemory&) const noexcept override {}
  void take_over(const ProtocolMemory&) noexcept override {}

 private:
  BenchTime heard_{};
  double force_{0.0};
  std::vector<std::pair<BenchTime, double>> forces_;
};

struct RoadRig final : Inputs {
  Bench bench{road_bench()};
  RackDevice device;
  VirtualTime time{zero};
  Records records;
  ScriptedMinder minder{time};
  std::unique_ptr<Plan> plan;
  std::unique_ptr<Timeline> timeline;
  Outcome outcome;

  void deliver(BenchTime now, InputSink& sink) noexcept override { device.publish(now, sink); }
  std::uint64_t dropped() const noexcept override { return 0; }

  // `steps`: the text of the plan's list of steps. `speed`: "72 km/h".
  void run(const std::string& speed, const std::string& steps) {
    Problems problems;
    plan = parse_plan({{"plan.json", R"({"plan": "test", "start": {"vehicle.speed": ")" + speed +
                                         R"("}, "settle": "10 ms", "steps": )" + steps + "}"}},
                      {}, bench, Catalogue{}, problems);
    if (plan) timeline = Timeline::compile(*plan, bench, problems);
    for (const auto& p : problems.sorted()) WARN(p.sentence());
    REQUIRE(timeline);
    Engine engine{{bench, *plan, *timeline, {&device}, *this, time, records, minder}};
    run_loop(engine, bench.tick, time);
    outcome = engine.outcome();
  }
  // When the step of that number (from 0) began.
  BenchTime began(std::size_t step) const { return records.of(EventKind::step_started).at(step).when; }
  // What was sent last before `when`, or not later.
  double sent(SignalIndex signal, BenchTime when) const {
    double value = std::numeric_limits<double>::quiet_NaN();
    for (const auto& s : records.samples.at(signal))
      if (s.when <= when) value = s.value;
    return value;
  }
  // The most that a value changed from one tick to the next.
  double greatest_change(SignalIndex signal) const {
    const auto& all = records.samples.at(signal);
    double most = 0.0;
    for (std::size_t i = 1; i < all.size(); ++i) most = std::max(most, std::abs(all[i].value - all[i - 1].value));
    return most;
  }
};

}  // namespace trackrod::test
