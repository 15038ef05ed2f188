#pragma once
// What a run is doing, for the person who watches it.

#include "harness/capture/record.hpp"
#include "harness/capture/stream_header.hpp"
#include "harness/cli/console.hpp"
#include "harness/plan/timeline.hpp"

namespace trackrod {

class Progress {
 public:
  // All outlive it.
  Progress(const Timeline& timeline, const StreamHeader& header, Console& console)
      : timeline_{timeline}, header_{header}, console_{console} {}
  // On one thread. Steps give a line with the time left; trips, losses and the safe state a line that stays.
  void on_event(const Event& event);
  void end() { console_.end_progress(); }
  // What was said last.
  const std::string& last() const { return last_; }

 private:
  const Timeline& timeline_;
  const StreamHeader& header_;
  Console& console_;
  BenchTime begun_{};  // of the first step
  std::uint64_t steps_{0};
  std::string last_;
};

}  // namespace trackrod
