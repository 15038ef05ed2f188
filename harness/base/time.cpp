#include "harness/base/time.hpp"

#include <cerrno>
#include <ctime>

namespace trackrod {

BenchTime SteadyTime::now() const noexcept {
  timespec ts{};
  clock_gettime(CLOCK_MONOTONIC, &ts);
  return BenchTime{std::chrono::seconds{ts.tv_sec} + std::chrono::nanoseconds{ts.tv_nsec}};
}

void SteadyTime::sleep_until(BenchTime due) noexcept {
  const auto since_start = due.time_since_epoch();
  const auto whole = std::chrono::duration_cast<std::chrono::seconds>(since_start);
  const timespec ts{whole.count(), (since_start - whole).count()};
  while (clock_nanosleep(CLOCK_MONOTONIC, TIMER_ABSTIME, &ts, nullptr) == EINTR) {
  }
}

}  // namespace trackrod
