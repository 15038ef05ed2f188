#pragma once
// Makes the faults of a run and watches whether they came and went.

#include <optional>
#include <random>
#include <span>
#include <vector>

#include "harness/engine/fault_notes.hpp"
#include "harness/engine/live_values.hpp"
#include "harness/engine/message_faults.hpp"
#include "harness/plan/timeline.hpp"

namespace trackrod {

// On the loop's thread. Allocates when it is made, and not after.
class FaultInjector {
 public:
  // The devices, in the bench's order, outlive it.
  FaultInjector(const Bench& bench, const Timeline& timeline, std::vector<Device*> devices);

  void begin_step(const TimelineStep& step, BenchTime at) noexcept;
  // Once a tick while a step runs: makes and removes what is due.
  void advance(BenchTime now, const LiveValues& live, FaultNotes& notes) noexcept;
  // Once a tick, step or none: whether what was made shows, and what was removed is gone.
  void watch(BenchTime now, const LiveValues& live, FaultNotes& notes) noexcept;
  // Once a tick after the devices sent, step or none: what faults of messages did.
  void look_at_messages(FaultNotes& notes) noexcept { messages_.look(notes); }
  // Removes all that the step made.
  void end_step(BenchTime now, FaultNotes& notes) noexcept;
  // From now on nothing is made, removed or said: the safe state has what is sent. Its messages are right at once.
  void stop(FaultNotes& notes) noexcept;
  bool touches(SignalIndex signal) const noexcept;  // a fault of this signal is there

  // What to send instead of `wanted`; call it for every driven signal each tick, in their order.
  // `all`: what is wanted of every signal. `sent`: what this one was sent last.
  double distorted(SignalIndex signal, std::span<const double> all, double sent, BenchTime now) noexcept;
  // A fault of this signal is there, or is removed in this tick, that may pass its slew limit.
  bool jumps(SignalIndex signal, BenchTime now) const noexcept;

 private:
  enum class Look : std::uint8_t { nothing, appears, disappears };
  struct Present {
    bool there{false};
    Look look{Look::nothing};
    BenchTime since{}, removed{BenchTime::min()};
    double held{0.0};  // of `stuck`, `ramp`: where the signal was
    bool held_known{false};
    std::mt19937_64 random{};
  };
  enum class Course : std::uint8_t { waiting, armed, there, over };
  struct Planned {
    const Injection* injection{nullptr};
    Course course{Course::waiting};
    bool was_true{true};  // of its trigger
  };
  struct Past {  // of a signal that a fault makes late
    std::size_t fault{0};
    std::vector<double> values;  // a ring, one a tick
    std::size_t next{0};
  };

  void make(Planned& planned, BenchTime now, FaultNotes& notes) noexcept;
  void remove(std::size_t fault, BenchTime now, FaultNotes& notes) noexcept;
  double distort(std::size_t fault, SignalIndex signal, double wanted, std::span<const double> all, double sent,
                 BenchTime now) noexcept;

  const Bench& bench_;
  std::vector<Present> present_;  // by fault
  std::vector<Planned> planned_;  // of the step that runs
  std::size_t planned_count_{0};
  BenchTime step_began_{};
  std::vector<std::vector<std::size_t>> by_signal_;  // faults that touch it
  std::vector<Past> past_;
  MessageFaults messages_;
};

}  // namespace trackrod
