#pragma once
// One device whose behaviour is scripted in time, an engine's other parts in memory, and a plan for them.

#include <cmath>
#include <functional>
#include <map>
#include <memory>
#include <utility>

#include "harness/engine/loop.hpp"
#include "harness/plan/timeline.hpp"
#include "tests/engine/small_bench.hpp"

namespace trackrod::test {

// Follows its setpoint at once; what it publishes can be overridden, and it can fall silent.
class FakeDevice final : public Device {
 public:
  std::function<double(BenchTime)> angle_script;    // empty: the setpoint
  std::function<bool(BenchTime)> silent;            // empty: never
  std::vector<std::pair<BenchTime, double>> modes;  // each change of the mode, as sent
  std::uint32_t message{0};                         // to be taken next
  Window message_came;
  std::vector<double> commands;  // angle setpoints, one a message
  double supply{13.0};
  std::function<std::string(BenchTime)> serial;  // what it says of itself under "serial"; empty: nothing
  std::optional<std::vector<FaultEntry>> faults;
  int inspections{0};
  bool answers{true};  // false: an inspection of it never ends

  // True while it is not silent.
  bool hear(BenchTime now) noexcept {
    if (serial) serial_ = serial(now);
    if (silent && silent(now)) return false;
    heard_ = now;
    return true;
  }
  void publish(BenchTime now, SampleSink& sink) noexcept {
    if (!hear(now)) return;
    const double angle_now = angle_script ? angle_script(now) : (mode_ == 1.0 ? command_ : 0.0);
    sink.put({now, angle_now, 0, angle, StampedBy::kernel});
    sink.put({now, supply, 0, voltage, StampedBy::kernel});
  }
  void arrived(std::span<const std::byte>, Stamp, SampleSink&) noexcept override {}
  bool set(SignalIndex signal, double value) noexcept override {
    (signal == mode ? next_mode_ : next_command_) = value;
    return true;
  }
  Sent transmit(BenchTime now) noexcept override {
    if (modes.empty() || next_mode_ != mode_) modes.emplace_back(now, next_mode_);
    mode_ = next_mode_;
    command_ = next_command_;
    commands.push_back(command_);
    return Sent::sent;
  }
  int last_error() const noexcept override { return 0; }
  BenchTime last_heard() const noexcept override { return heard_; }
  bool settled(SignalIndex) const noexcept override { return true; }
  std::string_view identity(std::string_view name) const noexcept override {
    return name == "serial" ? std::string_view{serial_} : std::string_view{};
  }
  std::uint32_t take_message() noexcept override { return std::exchange(message, 0U); }
  Window message_window() const noexcept override { return message_came; }
  void inspect() noexcept override {
    ++inspections;
    if (serial) serial_ = serial(heard_);
  }
  bool inspected() const noexcept override { return answers; }
  void tell(AccountSink& account) const noexcept override {
    if (!serial_.empty()) account.identity("serial", serial_);
    if (!faults) return;
    account.fault_memory();
    for (const auto& entry : *faults) account.fault(entry);
  }
  void remember(ProtocolMemory&) const noexcept override {}
  void take_over(const ProtocolMemory&) noexcept override {}

 private:
  BenchTime heard_{};
  std::string serial_;
  double mode_{0}, next_mode_{0}, command_{0}, next_command_{0};
};

class FakeInputs final : public Inputs {
 public:
  explicit FakeInputs(FakeDevice& device, const std::vector<FakeDevice*>& others) : device_{device}, others_{others} {}
  void deliver(BenchTime now, InputSink& sink) noexcept override {
    device_.publish(now, sink);
    for (auto* other : others_) other->hear(now);
  }
  std::uint64_t dropped() const noexcept override { return 0; }

 private:
  FakeDevice& device_;
  const std::vector<FakeDevice*>& others_;
};

struct Records final : RecordSink {
  std::vector<Event> events;
  std::vector<Tick> ticks;
  std::map<SignalIndex, std::vector<Sample>> samples;
  bool put(const Record& r) noexcept override {
    if (r.kind == Record::Kind::event) events.push_back(r.event);
    if (r.kind == Record::Kind::tick) ticks.push_back(r.tick);
    if (r.kind == Record::Kind::sample) samples[r.sample.signal].push_back(r.sample);
    return true;
  }
  std::vector<Event> of(EventKind kind) const {
    std::vector<Event> out;
    for (const auto& e : events)
      if (e.kind == kind) out.push_back(e);
    return out;
  }
};

// A minder that can be told to ask for a stop, to be gone, or to acknowledge late.
struct ScriptedMinder final : Minder {
  const TimeSource& time;
  std::optional<BenchTime> stop_at, gone_at;
  std::function<std::uint64_t(BenchTime)> acknowledge;
  RunState last_state{};
  explicit ScriptedMinder(const TimeSource& t) : time{t} {}
  std::optional<StopCause> stop_asked() const noexcept override {
    if (stop_at && time.now() >= *stop_at) return StopCause::operator_stop;
    return std::nullopt;
  }
  bool gone() const noexcept override { return gone_at && time.now() >= *gone_at; }
  std::uint64_t acknowledged() const noexcept override { return acknowledge ? acknowledge(time.now()) : UINT64_MAX; }
  void beat(BenchTime, RunState state, std::span<const double>, std::span<Device* const>) noexcept override {
    last_state = state;
  }
};

// Start of virtual time in these tests: not zero, which means "never" in places.
inline constexpr BenchTime zero{std::chrono::seconds{100}};

struct FakeRig {
  Bench bench{small_bench()};
  FakeDevice device;
  Device* sent_through{nullptr};    // stands between the engine and the first device; empty: nothing does
  std::vector<FakeDevice*> others;  // of the bench, behind the first: they say that they are there, no more
  FakeInputs inputs{device, others};
  VirtualTime time{zero};
  Records records;
  ScriptedMinder minder{time};
  Minder* keeper{&minder};
  std::unique_ptr<Plan> plan;
  std::unique_ptr<Timeline> timeline;
  Outcome outcome;

  // `steps`: the text of the plan's list of steps.
  void run(const std::string& steps, const std::function<void(BenchTime)>& before = {}) {
    Problems problems;
    const Sources sources{
        {"plan.json", R"({"plan": "test", "control": {"hand_wheel": "position"}, "start": {"angle_cmd": "0 deg"},
      "settle": "10 ms", "steps": )" +
                          steps + "}"}};
    plan = parse_plan(sources, {}, bench, Catalogue{}, problems);
    if (plan) timeline = Timeline::compile(*plan, bench, problems);
    for (const auto& p : problems.sorted()) WARN(p.sentence());
    REQUIRE(timeline);
    std::vector<Device*> devices{sent_through != nullptr ? sent_through : &device};
    devices.insert(devices.end(), others.begin(), others.end());
    Engine engine{{bench, *plan, *timeline, devices, inputs, time, records, *keeper}};
    run_loop(engine, bench.tick, time, before);
    outcome = engine.outcome();
  }
};

}  // namespace trackrod::test
