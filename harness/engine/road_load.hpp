#pragma once
// The load on the rack as of a vehicle on a road: the bench's load model in the loop, while a plan has it on.

#include <optional>
#include <span>

#include "harness/engine/live_values.hpp"
#include "harness/load/load_model.hpp"
#include "harness/plan/timeline.hpp"

namespace trackrod {

// On the loop's thread. Allocates when it is made, and not after. On a bench without a load model it does nothing.
class RoadLoad {
 public:
  explicit RoadLoad(const Bench& bench);

  // The step has the model on or off. Where it goes off, what it drove is 0 in `wanted`.
  void begin_step(const TimelineStep& step, std::span<double> wanted) noexcept;
  // Once a tick while that step runs: the road that it asks for, from the next step of the model on.
  void follow(const TimelineStep& step, Duration elapsed) noexcept;
  // What ended it: it has no answer to what it reads, or gave the rack more energy than a load has. The bench trips.
  enum class Trouble : std::uint8_t { none, no_answer, too_much_energy };
  // Once a tick: the model goes on by `since`, the time from the tick before. `sent`: what each signal was sent last.
  Trouble advance(BenchTime now, Duration since, const LiveValues& live, std::span<const double> sent) noexcept;
  // Whether the angle was too old at the last call, while the load was in.
  bool stale() const noexcept { return stale_; }
  // W s, on balance, given to the rack lately. 0 on a bench that does not watch it.
  double energy() const noexcept { return energy_; }
  // Puts what the model drives into `wanted`, while it is on.
  void drive(std::span<double> wanted) const noexcept;
  // No load from now on.
  void stop(std::span<double> wanted) noexcept;
  // What the model answers to. Only on a bench that has one.
  SignalIndex angle() const noexcept { return spec_->angle; }
  // By which its energy is known. Only on a bench that watches it.
  SignalIndex measured_force() const noexcept { return spec_->energy->force; }

 private:
  void balance(BenchTime when, double angle, const LiveValues& live) noexcept;
  void put(double force, double yaw_rate, double lateral_acceleration, std::span<double> wanted) const noexcept;

  const LoadSpec* spec_;  // null: the bench has none
  Duration tick_;
  std::optional<LoadModel> at_rest_, model_;
  LoadModel::Output output_;
  LoadUse use_{LoadUse::none};
  double grip_{1.0};
  double share_{0.0};      // of the model's output that is driven
  Duration laid_up_to_{};  // pulses of the step that runs
  bool stale_{false};
  double energy_{0.0};                       // W s
  BenchTime balanced_to_{BenchTime::min()};  // min() = no angle yet
  double balanced_angle_{0.0};               // then, in its unit
};

}  // namespace trackrod
