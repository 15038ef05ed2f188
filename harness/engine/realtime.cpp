#include "harness/engine/realtime.hpp"

#include <fcntl.h>
#include <malloc.h>
#include <pthread.h>
#include <sched.h>
#include <sys/mman.h>
#include <sys/prctl.h>
#include <sys/resource.h>
#include <unistd.h>

#include <cerrno>
#include <cstdint>
#include <cstring>
#include <fstream>
#include <utility>

namespace trackrod {
namespace {

constexpr rlim_t enough_locked = 512UL << 20;

bool may_ignore_lock_limit() {
  constexpr unsigned long long cap_ipc_lock = 1ULL << 14;
  std::ifstream status{"/proc/self/status"};
  for (std::string line; std::getline(status, line);)
    if (line.rfind("CapEff:", 0) == 0) return (std::stoull(line.substr(7), nullptr, 16) & cap_ipc_lock) != 0;
  return false;
}

// While this descriptor is open, the system keeps to the longest time that a processor may take to wake.
int wake_limit = -1;

// Asks that no processor sleeps so deeply that it takes time to wake. 0 or errno.
int keep_processors_awake() {
  constexpr std::int32_t longest_wake_us = 0;
  if (wake_limit < 0) wake_limit = open("/dev/cpu_dma_latency", O_WRONLY | O_CLOEXEC);
  return wake_limit >= 0 && write(wake_limit, &longest_wake_us, sizeof longest_wake_us) > 0 ? 0 : errno;
}

}  // namespace

RealtimeGrant become_realtime(int priority) {
  RealtimeGrant grant;
  prctl(PR_SET_TIMERSLACK, 1UL);
  // Freed memory stays with the process: giving it back would cost page faults later.
  mallopt(M_TRIM_THRESHOLD, -1);
  mallopt(M_MMAP_MAX, 0);

  // Locked before the priority is raised: it takes long, and would keep a small machine from all else.
  std::string locking;
  // With a small limit, locking what is to come would make later allocations fail: look first.
  rlimit limit{};
  getrlimit(RLIMIT_MEMLOCK, &limit);
  const bool room = limit.rlim_cur == RLIM_INFINITY || limit.rlim_cur >= enough_locked || may_ignore_lock_limit();
  if (room && mlockall(MCL_CURRENT | MCL_FUTURE) == 0) {
    grant.locked = true;
    locking = ", memory locked";
  } else {
    locking = room ? std::string{", memory not locked ("} + std::strerror(errno) + ")"
                   : std::string{", memory not locked (raise the memlock limit to 512 MB or more)"};
  }

  sched_param param{};
  param.sched_priority = priority;
  const int refused = pthread_setschedparam(pthread_self(), SCHED_FIFO, &param);
  grant.fifo = refused == 0;
  grant.words = grant.fifo ? "SCHED_FIFO " + std::to_string(priority)
                           : std::string{"no real-time priority ("} + std::strerror(refused) +
                                 "; allow it with the rtprio limit)";
  grant.words += locking;
  const int asleep = keep_processors_awake();
  grant.words +=
      asleep == 0 ? std::string{", processors kept awake"}
                  : std::string{", processors may sleep deeply (/dev/cpu_dma_latency: "} + std::strerror(asleep) + ")";
  return grant;
}

void leave_realtime() {
  const sched_param ordinary{};
  pthread_setschedparam(pthread_self(), SCHED_OTHER, &ordinary);
  munlockall();
  if (wake_limit >= 0) close(std::exchange(wake_limit, -1));
}

}  // namespace trackrod
