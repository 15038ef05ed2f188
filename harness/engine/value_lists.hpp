#pragma once
// Steps whose course a device runs by itself: handed over one step ahead, started with the step.

#include <vector>

#include "harness/base/value_list.hpp"
#include "harness/bench/bench.hpp"
#include "harness/engine/device.hpp"
#include "harness/plan/timeline.hpp"

namespace trackrod {

class ListNotes {
 public:
  virtual ~ListNotes() = default;
  virtual void list_started(SignalIndex signal) noexcept = 0;
  // The device did not take it, or not in time: the loop leads the signal.
  virtual void list_not_taken(SignalIndex signal) noexcept = 0;
};

// On the loop's thread. Allocates when it is made, and not after.
class ValueLists {
 public:
  // The devices, in the bench's order, and the others outlive it.
  ValueLists(const Bench& bench, const Timeline& timeline, std::vector<Device*> devices);

  // The step comes next: its lists go to their devices, where none of the running step is under way there.
  void announce(const TimelineStep& step) noexcept;
  void begin(const TimelineStep& step, ListNotes& notes) noexcept;
  // The device leads the signal: no plain value may go out that is not to end that.
  bool leads(SignalIndex signal) const noexcept { return leads_[signal]; }
  // The next plain value ends the device's list.
  void take_back(SignalIndex signal) noexcept { leads_[signal] = false; }
  void end() noexcept { leads_.assign(leads_.size(), false); }

 private:
  struct Course {
    SignalIndex signal{no_signal};
    std::size_t device{0};
    std::vector<ListPoint> points;
  };
  const std::vector<Course>& courses(const TimelineStep& step) const noexcept {
    return courses_[static_cast<std::size_t>(&step - timeline_.steps().data())];
  }

  const Timeline& timeline_;
  std::vector<Device*> devices_;
  std::vector<std::vector<Course>> courses_;  // by step of the timeline
  std::vector<char> leads_, handed_over_;     // by signal
};

}  // namespace trackrod
