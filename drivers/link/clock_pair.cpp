#include "drivers/link/clock_pair.hpp"

#include <algorithm>
#include <ctime>

namespace trackrod {
namespace {

Duration read_clock(clockid_t clock) noexcept {
  timespec ts{};
  clock_gettime(clock, &ts);
  return std::chrono::seconds{ts.tv_sec} + Duration{ts.tv_nsec};
}

}  // namespace

ClockPair read_clock_pair() noexcept {
  // Another task may run between the readings; the closest of a few tries is taken.
  constexpr Duration close_enough = std::chrono::microseconds{1};
  ClockPair best;
  for (int tries = 0; tries < 4; ++tries) {
    const auto before = read_clock(CLOCK_MONOTONIC);
    const auto wall = read_clock(CLOCK_REALTIME);
    const auto half = (read_clock(CLOCK_MONOTONIC) - before) / 2;
    if (tries == 0 || half < best.half_width) best = {BenchTime{before + half}, wall, half};
    if (half <= close_enough) break;
  }
  return best;
}

MappedStamp map_kernel_stamp(Duration wall_stamp, const ClockPair& pair, BenchTime last_empty) noexcept {
  const auto when = pair.bench - (pair.wall - wall_stamp);
  if (when < last_empty - pair.half_width || when > pair.bench + pair.half_width)
    return {{pair.bench, StampedBy::harness, pair.bench - last_empty}, true};
  return {{std::min(when, pair.bench), StampedBy::kernel, kernel_stamp_half_width + pair.half_width}, false};
}

}  // namespace trackrod
