#pragma once
// From the wall clock, in which the kernel stamps datagrams, to the bench clock.

#include "harness/base/time.hpp"

namespace trackrod {

// Both clocks read at one instant.
struct ClockPair {
  BenchTime bench{};
  Duration wall{};        // since 1970
  Duration half_width{};  // of `bench`: the two readings lie that close together
};
// Of the present. Does not block.
ClockPair read_clock_pair() noexcept;

// Common network cards hold a packet back for some tens of microseconds before they interrupt. From memory; no source.
inline constexpr Duration kernel_stamp_half_width = std::chrono::microseconds{50};

struct MappedStamp {
  Stamp stamp;
  bool replaced{false};
};
// The bench time of a datagram that was read at `pair` and that the kernel stamped `wall_stamp`. It came after
// `last_empty`, the time of the last read that found nothing. A stamp outside of [last_empty, pair] tells of a wall
// clock that was set meanwhile: then the time of the read is taken, by the harness, believed within the whole window.
MappedStamp map_kernel_stamp(Duration wall_stamp, const ClockPair& pair, BenchTime last_empty) noexcept;

}  // namespace trackrod
