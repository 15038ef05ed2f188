#pragma once
// What passes between the loop and whoever minds it (the keeper's process, or nobody in a rehearsal), besides records.

#include <optional>
#include <span>

#include "harness/capture/record.hpp"
#include "harness/engine/account.hpp"
#include "harness/engine/device.hpp"

namespace trackrod {

class Minder {
 public:
  virtual ~Minder() = default;
  // All loop-safe.
  virtual std::optional<StopCause> stop_asked() const noexcept = 0;
  // The minder is dead: nobody would bring the bench to its safe state after us.
  virtual bool gone() const noexcept = 0;
  // A limit that stops a repeat was passed: the one that runs is to end with the pass that is under way.
  virtual bool repeat_to_end() const noexcept { return false; }
  // How many announced steps are safely on disk.
  virtual std::uint64_t acknowledged() const noexcept = 0;
  // The devices have said what they are; what they tell now is kept for that occasion.
  virtual void take_accounts(Occasion, std::span<Device* const>) noexcept {}
  // Called at the end of each tick with what a successor needs to go on: last sent values and protocol states.
  virtual void beat(BenchTime now, RunState state, std::span<const double> sent,
                    std::span<Device* const> devices) noexcept = 0;
};

// For rehearsals and tests: never stops, loses nothing, acknowledges everything.
class NoMinder : public Minder {
 public:
  std::optional<StopCause> stop_asked() const noexcept override { return std::nullopt; }
  bool gone() const noexcept override { return false; }
  std::uint64_t acknowledged() const noexcept override { return UINT64_MAX; }
  void beat(BenchTime, RunState, std::span<const double>, std::span<Device* const>) noexcept override {}
};

}  // namespace trackrod
