#pragma once
// Tells the service manager that started this process (systemd) how the run goes. On a thread of its own at ordinary
// priority, so that a service manager that does not read delays nothing. Without NOTIFY_SOCKET in the environment
// nothing is told to anybody.

#include <memory>
#include <string>

#include "harness/service/supervisor_words.hpp"

namespace trackrod {

class Supervisor {
 public:
  // Begins to tell. Make it before the process takes real-time rights: the thread inherits them.
  Supervisor();
  // Says what is left to say; waits for that a second and a half at most.
  ~Supervisor();
  Supervisor(const Supervisor&) = delete;
  Supervisor& operator=(const Supervisor&) = delete;

  // What the watch over the loop sees: its last heartbeat (zero: none yet), and whether it was asked to stop. To be
  // called by the watch itself, at each look: when it hangs, there is no sign of life either. Does not block, takes no
  // lock.
  void look(BenchTime beat, bool stopping) noexcept;
  // The loop is over, the bench is safe or the alarm is raised; what follows takes its time. Any thread.
  void finishing() noexcept;
  // What the run is doing, for the person who asks for the service's status. Any thread but the watch's.
  void say(const std::string& sentence);

 private:
  struct State;
  std::shared_ptr<State> state_;  // shared with the thread, which may outlive this
};

}  // namespace trackrod
