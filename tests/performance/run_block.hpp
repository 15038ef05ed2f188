#pragma once
// A stretch of real time in which ticks were measured.

#include <cstdint>
#include <string>
#include <vector>

namespace trackrod::performance {

struct Block {
  std::vector<double> late;  // of each tick, whole us, as cyclictest counts them; sorted
  std::vector<double> work;  // of each tick, from its start to all devices sent, us; sorted; empty without devices
  std::uint64_t missed{0};
  double steal{0};   // share of the time that the host took away from this machine
  std::string flaw;  // why it does not count; empty: it does
};

// A run of the demo bench at this rate, its hand wheel held still: simulator, keeper and loop as a user has them.
Block run_block(int rate_hz, int seconds_long);
// The bare loop: clock and priority of ours, nothing to do and no company.
Block bare_block(int rate_hz, int seconds_long);
// cyclictest at the same rate and priority.
Block reference_block(int rate_hz, int seconds_long);

}  // namespace trackrod::performance
