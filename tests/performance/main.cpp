// Prints how near the harness comes to what this machine can do. The machine may be shared and noisy: read the ratios,
// and repeat before believing a difference.

#include <cstdio>
#include <thread>

#include "tests/performance/figures.hpp"

int main() {
  std::printf("trackrod performance, %u cores\n", std::thread::hardware_concurrency());
  trackrod::performance::capture_rate();
  trackrod::performance::added_time();
  trackrod::performance::lateness();
}
