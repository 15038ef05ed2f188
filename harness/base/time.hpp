#pragma once
// Time as the bench uses it: instants on the machine's monotonic clock, and stamps that say who took them.

#include <chrono>
#include <cstdint>

namespace trackrod {

using Duration = std::chrono::nanoseconds;

// The clock of every sample, deadline and event: CLOCK_MONOTONIC, shared by all processes of one run.
// It has no now() on purpose; time is asked of a TimeSource, so that a rehearsal can supply its own.
struct BenchClock {
  using duration = Duration;
  using rep = duration::rep;
  using period = duration::period;
  using time_point = std::chrono::time_point<BenchClock>;
  static constexpr bool is_steady = true;
};
using BenchTime = BenchClock::time_point;

// Wall-clock time: a label for people and files, never a measure.
using WallTime = std::chrono::system_clock::time_point;

class TimeSource {
 public:
  virtual ~TimeSource() = default;
  // Any thread; does not block.
  virtual BenchTime now() const noexcept = 0;
  // Returns at `due` or later, at once when `due` has passed. Blocks only on a real clock.
  virtual void sleep_until(BenchTime due) noexcept = 0;
};

// The machine's monotonic clock.
class SteadyTime final : public TimeSource {
 public:
  BenchTime now() const noexcept override;
  void sleep_until(BenchTime due) noexcept override;
};

// A clock that moves only when told to; sleeping advances it.
class VirtualTime final : public TimeSource {
 public:
  explicit VirtualTime(BenchTime start = BenchTime{}) : now_{start} {}
  BenchTime now() const noexcept override { return now_; }
  void sleep_until(BenchTime due) noexcept override {
    if (due > now_) now_ = due;
  }

 private:
  BenchTime now_;
};

enum class StampedBy : std::uint8_t { device, kernel, harness };

// When a thing happened, who says so, and within what half-width it is believed.
struct Stamp {
  BenchTime when{};
  StampedBy by{StampedBy::harness};
  Duration uncertainty{};
};

// Something that was found by looking now and then: it came about after `after`, and by `by` at the latest. `by` zero:
// no time is known. `after` zero: it may be older than the first look.
struct Window {
  BenchTime after{}, by{};
};

constexpr double seconds(Duration d) { return static_cast<double>(d.count()) * 1e-9; }
constexpr Duration from_seconds(double s) {
  return Duration{static_cast<Duration::rep>(s * 1e9 + (s < 0 ? -0.5 : 0.5))};
}

}  // namespace trackrod
