#include "harness/engine/realtime.hpp"

#include <pthread.h>
#include <sched.h>

#include <fstream>
#include <string>
#include <thread>

#include "tests/catch.hpp"

using namespace trackrod;

namespace {

int policy() {
  int policy = -1;
  sched_param param{};
  pthread_getschedparam(pthread_self(), &policy, &param);
  return policy;
}

// A sanitizer replaces mlockall() by nothing, which says that it did its work.
#ifdef TRACKROD_SANITIZED
constexpr bool memory_can_be_locked = false;
#else
constexpr bool memory_can_be_locked = true;
#endif

// Of this process, in kilobytes.
long locked_memory() {
  std::ifstream status{"/proc/self/status"};
  for (std::string line; std::getline(status, line);)
    if (line.rfind("VmLck:", 0) == 0) return std::stol(line.substr(6));
  return -1;
}

}  // namespace

TEST_CASE("what the system grants a thread that must not be late is said, and given back after the run") {
  std::thread{[] {
    const auto grant = become_realtime(1);
    INFO(grant.words);
    CHECK((grant.fifo ? policy() == SCHED_FIFO : policy() == SCHED_OTHER));
    CHECK((locked_memory() > 0) == (grant.locked && memory_can_be_locked));
    CHECK(grant.words.find(grant.fifo ? "SCHED_FIFO 1" : "no real-time priority") == 0);
    CHECK(grant.words.find("processors") != std::string::npos);
    leave_realtime();
    CHECK(policy() == SCHED_OTHER);
    CHECK(locked_memory() == 0);
  }}.join();
}
