#include "harness/plan/vehicle_lint.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>
#include <set>
#include <tuple>

#include "harness/plan/drafting.hpp"

namespace trackrod {
namespace {

constexpr double slack = 1 + 1e-6;  // for rounding only

// One of the vehicle's signals: where it is, and what a step does to it.
struct Trace {
  SignalIndex signal{no_signal};
  double now{0};
  const Motion* motion{nullptr};  // null: it stays where it is

  double at(double t) const { return motion == nullptr ? now : motion->at(from_seconds(t)); }
};

// Parts of a piece whose ends show what it does: exactly for straight lines, 64 a cycle of a wave.
double parts_of(const Piece& piece) {
  const double fastest = std::max(std::abs(piece.angular_rate(0)), std::abs(piece.angular_rate(piece.length)));
  const double cycles = piece.amplitude == 0 ? 1 : std::max(1.0, fastest * piece.length / (2 * std::numbers::pi));
  return std::ceil(64 * cycles);
}

class Lint {
 public:
  Lint(const Timeline& timeline, const Bench& bench)
      : timeline_{timeline}, bench_{bench}, vehicle_{*bench.vehicle}, traces_{{vehicle_.speed, 0, nullptr}} {
    for (const auto wheel : vehicle_.wheel_speeds) traces_.push_back({wheel, 0, nullptr});
    const auto add = [&](SignalIndex signal, std::size_t& at) {
      if (signal == no_signal) return;
      at = traces_.size();
      traces_.push_back({signal, 0, nullptr});
    };
    add(vehicle_.yaw_rate, yaw_);
    add(vehicle_.power_mode, power_);
  }

  std::vector<std::string> notes() {
    check_counters();
    start();
    walk(timeline_.program());
    return std::move(notes_);
  }

 private:
  void check_counters() {
    for (const auto& trace : traces_)
      if (const auto& spec = bench_.signals[trace.signal]; !spec.counted)
        notes_.push_back(
            "'" + spec.info.name + "' goes out in a message of device '" + spec.info.device +
            "' that does not count: a unit that watches its bus cannot tell it from one that is stuck, and "
            "may fall back; give the message the 'counter' or 'e2e' that it has in the vehicle");
  }

  // The engine brings the signals to their start values.
  void approach(const Trace& trace, double goal) {
    const auto& info = bench_.signals[trace.signal].info;
    if (info.max_slew <= 0)
      check_jump(trace.signal, trace.now, goal);
    else if (goal != trace.now)
      check_rate(trace, goal > trace.now ? approach_rate(info) : -approach_rate(info), 0.5 * (goal + trace.now));
  }

  void start() {
    const auto armed = armed_values(bench_);
    for (auto& trace : traces_) {
      trace.now = armed[trace.signal];
      for (const auto& [signal, value] : timeline_.start())
        if (signal == trace.signal) {
          if (is_speed(trace)) approach(trace, value);
          trace.now = value;
        }
    }
    check_speed(traces_.front(), traces_.front().now);
    check_together();
  }

  void walk(const std::vector<TimelineItem>& items) {
    for (const auto& item : items) {
      if (item.count == 0) {
        take(timeline_.steps()[item.step]);
        continue;
      }
      if (!item.levels.empty()) {
        const double began = time_;
        walk(item.levels.back());
        time_ = began + (time_ - began) * static_cast<double>(item.count);
        continue;
      }
      walk(item.first);
      const double begin = time_;
      if (item.count > 1) walk(item.again);
      if (item.count != without_end) time_ = begin + (time_ - begin) * static_cast<double>(item.count - 1);
      walk(item.check);
    }
  }

  void take(const TimelineStep& step) {
    step_ = &step;
    for (auto& trace : traces_) {
      trace.motion = nullptr;
      for (const auto& channel : step.channels)
        if (channel.signal == trace.signal) trace.motion = &channel.motion;
    }
    if (!step.implausible_meant)
      for (const auto& trace : traces_)
        if (trace.motion != nullptr) check(trace);
    for (auto& trace : traces_)
      if (trace.motion != nullptr) trace.now = trace.motion->end;
    time_ += seconds(step.length);
  }

  void check(const Trace& trace) {
    double before = trace.now;
    for (const auto& piece : trace.motion->pieces) {
      const auto count = parts_of(piece);
      const double width = piece.length / count;
      for (double i = 0; i <= count; ++i) {
        const double t = i * width;
        const auto now = piece.derivatives(t);
        into_step_ = piece.begin + t;
        if (is_speed(trace)) {
          if (i == 0) check_jump(trace.signal, before, now[0]);
          check_rate(trace, now[1], piece.at(i < count ? t + 0.5 * width : t - 0.5 * width));
          check_speed(trace, now[0]);
        }
        check_together();
        before = now[0];
      }
    }
  }

  void check_jump(SignalIndex signal, double from, double to) {
    const auto& unit = bench_.signals[signal].info.unit;
    if (std::abs(to - from) > 1e-6 * vehicle_.max_speed)
      tell(signal, "jump", "jumps from " + in_words(from, unit) + " to " + in_words(to, unit));
  }

  // A vehicle gains speed when the amount of it grows, also backwards; `beside` is a value close by that is not 0.
  void check_rate(const Trace& trace, double rate, double beside) {
    const bool gains = (beside > 0) == (rate > 0);
    const double most = gains ? vehicle_.max_acceleration : vehicle_.max_deceleration;
    if (std::abs(rate) <= most * slack) return;
    const auto unit = rate_unit(bench_.signals[trace.signal].info.unit);
    tell(trace.signal, gains ? "gain" : "loss",
         std::string{gains ? "gains" : "loses"} + " " + in_words(std::abs(rate), unit) + ", the vehicle at most " +
             in_words(most, unit));
  }

  void check_speed(const Trace& trace, double value) {
    if (trace.signal != vehicle_.speed || std::abs(value) <= vehicle_.max_speed * slack) return;
    const auto& unit = bench_.signals[trace.signal].info.unit;
    tell(trace.signal, "speed",
         "is " + in_words(value, unit) + ", the vehicle at most " + in_words(vehicle_.max_speed, unit));
  }

  // Of the vehicle or of a wheel; the others are held against it.
  bool is_speed(const Trace& trace) const {
    return trace.signal != vehicle_.yaw_rate && trace.signal != vehicle_.power_mode;
  }

  // What the signals say at one instant.
  void check_together() {
    const double speed = traces_.front().at(into_step_);
    check_wheels(speed);
    if (yaw_ != none) check_yaw(speed, traces_[yaw_].at(into_step_));
    if (power_ != none) check_power(speed, traces_[power_].at(into_step_));
  }

  void check_yaw(double speed, double yaw) {
    const double lateral = std::abs(vehicle_.lateral_gain * speed * yaw);
    if (lateral <= vehicle_.max_lateral_acceleration * slack) return;
    tell(vehicle_.yaw_rate, "yaw",
         "is " + in_words(yaw, bench_.signals[vehicle_.yaw_rate].info.unit) + " at " +
             in_words(speed, bench_.signals[vehicle_.speed].info.unit) + ", which is " + in_words(lateral, "m/s^2") +
             " sideways, the vehicle at most " + in_words(vehicle_.max_lateral_acceleration, "m/s^2"));
  }

  void check_power(double speed, double mode) {
    if (std::abs(speed) <= 1e-6 * vehicle_.max_speed || mode >= vehicle_.power_on) return;
    tell(vehicle_.power_mode, "power",
         "is " + shown(mode) + " at " + in_words(speed, bench_.signals[vehicle_.speed].info.unit) +
             ", a vehicle that moves has at least " + shown(vehicle_.power_on));
  }

  void check_wheels(double speed) {
    const auto& info = bench_.signals[vehicle_.speed].info;
    for (std::size_t i = 1; i <= vehicle_.wheel_speeds.size(); ++i) {
      const double wheel = traces_[i].at(into_step_);
      if (std::abs(wheel - speed) > vehicle_.wheel_agreement * slack)
        tell(traces_[i].signal, "wheel",
             "says " + in_words(wheel, info.unit) + ", '" + info.name + "' " + in_words(speed, info.unit));
    }
  }

  void tell(SignalIndex signal, const std::string& kind, const std::string& what) {
    const auto step = step_ == nullptr ? "" : step_->name;
    if (!told_.insert({step, signal, kind}).second) return;
    notes_.push_back("'" + bench_.signals[signal].info.name + "' " + what +
                     (step_ == nullptr ? ", before the first step"
                                       : ", in step '" + step + "' at " + shown(time_ + into_step_) + " s") +
                     ": no vehicle does that, and a unit may doubt its bus and fall back; drive it as a vehicle does" +
                     (step_ == nullptr ? "" : ", or say in the step \"implausible\": \"meant\""));
  }

  const Timeline& timeline_;
  const Bench& bench_;
  const VehicleSpec& vehicle_;
  static constexpr std::size_t none = static_cast<std::size_t>(-1);
  std::vector<Trace> traces_;            // the vehicle's speed, then those of the wheels, then the others
  std::size_t yaw_{none}, power_{none};  // places in traces_
  const TimelineStep* step_{nullptr};    // null: before the first
  double time_{0}, into_step_{0};        // s: the start of the step, and the instant looked at from there
  std::set<std::tuple<std::string, SignalIndex, std::string>> told_;  // step, signal, kind
  std::vector<std::string> notes_;
};

}  // namespace

std::vector<std::string> vehicle_notes(const Timeline& timeline, const Bench& bench) {
  if (!bench.vehicle) return {};
  return Lint{timeline, bench}.notes();
}

}  // namespace trackrod
