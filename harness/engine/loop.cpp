#include "harness/engine/loop.hpp"

#include <algorithm>

namespace trackrod {

void run_loop(Engine& engine, Duration tick, TimeSource& time, const std::function<void(BenchTime)>& before) {
  const auto start = time.now() + tick;
  for (std::int64_t n = 0;;) {
    const auto due = start + n * tick;  // from the start, so that it cannot drift
    time.sleep_until(due);
    if (before) before(due);
    if (!engine.tick(due, time.now())) return;
    n = std::max<std::int64_t>(n + 1, (time.now() - start) / tick);
  }
}

}  // namespace trackrod
