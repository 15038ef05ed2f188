#pragma once
// What the operating system gives a thread that must not be late.

#include <string>

namespace trackrod {

struct RealtimeGrant {
  bool fifo{false};    // SCHED_FIFO
  bool locked{false};  // memory locked
  std::string words;   // what was granted and what was not, and why; for the run's record
};

// Asks for SCHED_FIFO at `priority` and the least timer slack for the calling thread, for locked memory for the
// process, and for processors that do not sleep deeply. What is refused is said, not failed: the run goes on and its
// timing is on record. One thread at a time.
RealtimeGrant become_realtime(int priority);

// Gives all of it back: for the work after a run, which may take long and must not disturb the next one. Threads and
// processes that are started before it inherit the priority.
void leave_realtime();

inline constexpr int loop_priority = 40;  // below the interrupt threads of a real-time kernel (50)

}  // namespace trackrod
