#pragma once
// How well this machine serves as a bench's host: measured, with what to do about it.

#include <optional>
#include <string>
#include <vector>

#include "harness/base/time.hpp"
#include "harness/engine/realtime.hpp"

namespace trackrod {

// Of a set of durations.
struct Quantiles {
  std::size_t count{0};
  Duration p50{}, p99{}, most{};
};
Quantiles quantiles(std::vector<Duration> values);

struct SelfcheckFacts {
  std::string kernel;
  bool realtime_kernel{false};
  std::string clock_source;
  int cores{0};
  long receive_buffer_max{0};  // bytes, net.core.rmem_max; 0 = not known
  RealtimeGrant grant;
  Quantiles tick_late;  // of a 1 kHz tick, in a thread with the grant
  std::uint64_t ticks_missed{0};
  std::optional<Quantiles> udp;     // from handing a datagram over to having it, through this machine's own loopback
  std::optional<Quantiles> serial;  // the same through a pseudo-terminal: a floor that no real port reaches
  std::optional<Quantiles> disk;    // writing 64 kB and syncing them, in the working folder
  std::vector<std::string> can_interfaces;  // with their state; none is sent on
  std::vector<std::string> troubles;        // what could not be measured, and why
};
// Blocks for somewhat more than `how_long`. Keeps to the loopback interface and the working folder.
SelfcheckFacts measure_host(Duration how_long);
// The same without the disk and the CAN interfaces.
SelfcheckFacts measure_timing(Duration how_long);

// What to do about what is not as it should be; empty when nothing is amiss. Pure.
std::vector<std::string> advice(const SelfcheckFacts& facts);

}  // namespace trackrod
