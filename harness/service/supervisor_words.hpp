#pragma once
// What a run tells the service manager that started it, and when: the messages of systemd's notification protocol
// (sd_notify(3), sd_watchdog_enabled(3)). Pure; no clock, no socket.

#include <optional>
#include <string>

#include "harness/base/time.hpp"

namespace trackrod {

enum class RunPhase : std::uint8_t {
  driving,   // the loop works, or is about to
  stopping,  // asked to end: the loop brings the bench to its safe state
  finishing  // the loop is over and nothing is driven any more: archive, scores, report
};

struct RunSeen {
  RunPhase phase{RunPhase::driving};
  BenchTime beat{};      // the loop's last heartbeat, as the keeper's watch saw it; zero: none yet
  std::string sentence;  // what the run is doing; empty: nothing to say yet
};

class SupervisorWords {
 public:
  // `watchdog`: the time without a sign of life after which the service manager kills the process; zero: never.
  explicit SupervisorWords(Duration watchdog) : watchdog_{watchdog} {}

  // What to send at `now`, a line for each thing; empty: nothing. Times may not run backwards.
  //   READY=1      once, with the first heartbeat
  //   STATUS=      a changed sentence, at most once a second
  //   WATCHDOG=1   three times within the watchdog's time, and only while the heartbeat is younger than half of it;
  //   while
  //                finishing always, for then a slow disk may not kill what is done
  //   STOPPING=1   once, when the end begins
  //   EXTEND_TIMEOUT_USEC=  while finishing: the archive of a night takes its time
  std::string due(BenchTime now, const RunSeen& seen);

  // Whether that sentence was given out.
  bool said(const std::string& sentence) const { return sentence == said_; }
  // How often `due` must be asked.
  Duration period() const;

 private:
  bool alive(BenchTime now, const RunSeen& seen) const;

  Duration watchdog_;
  bool ready_{false}, stopping_{false};
  std::string said_;  // the last sentence
  std::optional<BenchTime> said_at_, pinged_at_, extended_at_;
};

}  // namespace trackrod
