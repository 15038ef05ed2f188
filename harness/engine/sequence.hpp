#pragma once
// Runs the ordered writes and waits of the bench file over time: arming, and the safe state. The loop and the process
// that takes over from it run this same code.

#include <vector>

#include "harness/capture/record.hpp"
#include "harness/engine/live_values.hpp"

namespace trackrod {

// What a sequence does to the world.
class SequenceHands {
 public:
  virtual ~SequenceHands() = default;
  virtual void write(SignalIndex signal, double value) noexcept = 0;
  // The device has the value, as far as can be told.
  virtual bool settled(SignalIndex signal) const noexcept = 0;
  // A write was made, or (effect) a wait ended: good, or not in time.
  virtual void note(std::size_t action, bool effect, bool good) noexcept = 0;
};

// How it treats what does not come: arming stops there; the safe state goes on to the next action.
enum class OnFailure : std::uint8_t { stop, go_on };

class SequenceRunner {
 public:
  enum class State : std::uint8_t { running, done, failed };
  SequenceRunner(const std::vector<Action>& actions, OnFailure on_failure)
      : actions_{actions}, on_failure_{on_failure} {}

  // As many actions as can be done now. A wait begins one call after the write before it, and is met only by a sample
  // that is newer than the hand-over of every write before it, or than the time that a hand-over may take. So is the
  // end of the safe state: a message with a slow cycle, or one that stands in a queue, is not left behind. Loop-safe.
  // `failed`: stopped at action position(), or (go_on) some effect was not seen.
  State advance(BenchTime now, const LiveValues& live, SequenceHands& hands) noexcept;
  std::size_t position() const noexcept { return position_; }
  bool all_effects_seen() const noexcept { return all_seen_; }

 private:
  bool handed_over(BenchTime now, const SequenceHands& hands) const noexcept;

  const std::vector<Action>& actions_;
  OnFailure on_failure_;
  std::size_t position_{0};
  BenchTime since_{BenchTime::min()};       // when the present action began; min() = not yet
  BenchTime wrote_{BenchTime::min()};       // when it last wrote; min() = never
  BenchTime fresh_from_{BenchTime::max()};  // only a sample newer than this shows an effect; max() = none does yet
  bool all_seen_{true};
};

}  // namespace trackrod
