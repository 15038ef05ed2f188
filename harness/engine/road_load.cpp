#include "harness/engine/road_load.hpp"

#include <algorithm>
#include <cmath>

namespace trackrod {
namespace {

constexpr Duration::rep most_made_up = 20;  // ticks that the loop missed: the vehicle has driven on meanwhile
constexpr Duration before_all{-1};

}  // namespace

RoadLoad::RoadLoad(const Bench& bench) : spec_{bench.load ? &*bench.load : nullptr}, tick_{bench.tick} {
  if (spec_ != nullptr) model_ = at_rest_ = LoadModel{spec_->vehicle, seconds(tick_)};
}

void RoadLoad::begin_step(const TimelineStep& step, std::span<double> wanted) noexcept {
  if (step.load == LoadUse::none) stop(wanted);
  use_ = step.load;
  laid_up_to_ = before_all;
}

void RoadLoad::follow(const TimelineStep& step, Duration elapsed) noexcept {
  if (step.grip) grip_ = step.grip->at(elapsed);
  for (const auto& pulse : step.pulses)
    if (pulse.from > laid_up_to_ && pulse.from <= elapsed) model_->add({pulse.force, 0.0, pulse.length});
  laid_up_to_ = elapsed;
}

// A vehicle whose load has faded out begins anew, at rest, so that it comes in as it did first.
RoadLoad::Trouble RoadLoad::advance(BenchTime now, Duration since, const LiveValues& live,
                                    std::span<const double> sent) noexcept {
  if (use_ == LoadUse::none) return Trouble::none;
  const auto& angle = live.latest(spec_->angle);
  const bool there = angle.signal != no_signal && !live.lost(live.device_of(spec_->angle));
  const auto age = there ? now - angle.when : Duration::max();
  stale_ = age > spec_->stale;
  if (!stale_) {
    if (share_ == 0.0) model_ = at_rest_;
    const LoadModel::Input input{angle.value * spec_->angle_gain, sent[spec_->speed] * spec_->speed_gain, grip_};
    for (auto n = std::clamp<Duration::rep>(since / tick_, 1, most_made_up); n > 0; --n)
      output_ = model_->advance(input);
    if (!model_->sound()) return Trouble::no_answer;
    if (spec_->energy) balance(angle.when, angle.value, live);
  }
  const double change = seconds(since) / seconds(spec_->fade);
  share_ = std::clamp(share_ + (stale_ || use_ == LoadUse::leaving ? -change : change), 0.0, 1.0);
  return spec_->energy && energy_ > spec_->energy->at_most ? Trouble::too_much_energy : Trouble::none;
}

// The work of the measured force on the way from one sample of the angle to the next; what the rack put into the load
// counts against it, down to nothing, and what is long ago fades.
void RoadLoad::balance(BenchTime when, double angle, const LiveValues& live) noexcept {
  const auto& watch = *spec_->energy;
  const double force = live.value(watch.force) * watch.force_gain;
  if (when == balanced_to_ || !std::isfinite(force)) return;
  if (balanced_to_ != BenchTime::min()) {
    const double way = (angle - balanced_angle_) * spec_->angle_gain * spec_->vehicle.steering_arm;  // m
    const double kept = std::exp(-seconds(when - balanced_to_) / seconds(watch.within));
    energy_ = std::max(0.0, kept * energy_ + force * way);
  }
  balanced_to_ = when;
  balanced_angle_ = angle;
}

void RoadLoad::drive(std::span<double> wanted) const noexcept {
  if (use_ == LoadUse::none) return;
  put(share_ * output_.force, share_ * output_.yaw_rate, share_ * output_.lateral_acceleration, wanted);
}

void RoadLoad::stop(std::span<double> wanted) noexcept {
  if (use_ != LoadUse::none) put(0.0, 0.0, 0.0, wanted);
  use_ = LoadUse::none;
  share_ = energy_ = 0.0;
  balanced_to_ = BenchTime::min();
  stale_ = false;
}

void RoadLoad::put(double force, double yaw_rate, double lateral_acceleration,
                   std::span<double> wanted) const noexcept {
  wanted[spec_->force] = force * spec_->force_gain;
  if (spec_->yaw_rate != no_signal) wanted[spec_->yaw_rate] = yaw_rate * spec_->yaw_gain;
  if (spec_->lateral_acceleration != no_signal)
    wanted[spec_->lateral_acceleration] = lateral_acceleration * spec_->acceleration_gain;
}

}  // namespace trackrod
