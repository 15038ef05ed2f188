#include "drivers/link/clock_pair.hpp"

#include <ctime>

#include "tests/catch.hpp"

using namespace trackrod;
using namespace std::chrono_literals;

namespace {
constexpr BenchTime t0{1000s};
constexpr Duration wall0 = 1'700'000'000s;  // any instant will do
const ClockPair pair_at_read{t0 + 10ms, wall0 + 10ms, 1us};
}  // namespace

TEST_CASE("a kernel stamp between the last empty read and now keeps its age") {
  const auto [stamp, replaced] = map_kernel_stamp(wall0 + 7ms, pair_at_read, t0);
  CHECK_FALSE(replaced);
  CHECK(stamp.when == t0 + 7ms);
  CHECK(stamp.by == StampedBy::kernel);
  CHECK(stamp.uncertainty == kernel_stamp_half_width + 1us);
}

TEST_CASE(
    "a wall clock set forward between stamp and read makes the stamp too old: the read's time is taken, widened") {
  // Stamped at 7 ms of the old clock; the clock went forward one hour before the read.
  const ClockPair after_step{t0 + 10ms, wall0 + 10ms + 1h, 1us};
  const auto [stamp, replaced] = map_kernel_stamp(wall0 + 7ms, after_step, t0);
  CHECK(replaced);
  CHECK(stamp.when == t0 + 10ms);
  CHECK(stamp.by == StampedBy::harness);
  CHECK(stamp.uncertainty == 10ms);  // back to the last read that found nothing: the truth, 7 ms, is inside
}

TEST_CASE("a wall clock set back makes the stamp lie ahead of now: replaced as well") {
  const ClockPair after_step{t0 + 10ms, wall0 + 10ms - 2s, 1us};
  const auto [stamp, replaced] = map_kernel_stamp(wall0 + 7ms, after_step, t0);
  CHECK(replaced);
  CHECK(stamp.when == t0 + 10ms);
  CHECK(stamp.uncertainty == 10ms);
}

TEST_CASE("the reading of the two clocks may be off by its own half-width without the stamp being doubted") {
  CHECK_FALSE(map_kernel_stamp(wall0 + 10ms + 900ns, pair_at_read, t0).replaced);
  CHECK(map_kernel_stamp(wall0 + 10ms + 900ns, pair_at_read, t0).stamp.when == t0 + 10ms);  // never in the future
  CHECK_FALSE(map_kernel_stamp(wall0 - 900ns, pair_at_read, t0).replaced);
  CHECK(map_kernel_stamp(wall0 + 10ms + 1100ns, pair_at_read, t0).replaced);
  CHECK(map_kernel_stamp(wall0 - 1100ns, pair_at_read, t0).replaced);
}

TEST_CASE("a clock pair lies between two readings of either clock") {
  const auto wall = [] {
    timespec ts{};
    clock_gettime(CLOCK_REALTIME, &ts);
    return Duration{std::chrono::seconds{ts.tv_sec}} + Duration{ts.tv_nsec};
  };
  const SteadyTime clock;
  const auto bench_before = clock.now();
  const auto wall_before = wall();
  const auto pair = read_clock_pair();
  CHECK(pair.wall >= wall_before);
  CHECK(pair.wall <= wall());
  CHECK(pair.bench >= bench_before);
  CHECK(pair.bench <= clock.now());
  CHECK(pair.half_width >= 0ns);
}
