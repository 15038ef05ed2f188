#pragma once
// Bytes without bounds on a descriptor that does not block: what serial lines and TCP connections have in common.

#include <sys/types.h>

#include "drivers/link/link.hpp"

namespace trackrod {

// Reads, and knows when the stream was last seen empty: nobody stamps these bytes but the one who reads them.
class StreamReads {
 public:
  StreamReads() : last_empty_{SteadyTime{}.now()} {}

  // What is there, counted. Its stamp is the time of the read, by the harness, believed within the time since the last
  // read that found nothing more (the bytes came after that) and `held_back`, for which something on the way may have
  // kept them. `lost` with error 0: the stream reads as ended.
  Received receive(int descriptor, std::span<std::byte> into, BenchTime now, Duration held_back,
                   LinkCounters& counters) noexcept;
  void found_empty(BenchTime now) noexcept { last_empty_ = now; }

 private:
  BenchTime last_empty_;
};

// Writes until all is taken or the system takes no more; counted. `write_some` is write() or the like.
SendResult send_stream(int descriptor, std::span<const std::byte> bytes, LinkCounters& counters,
                       ssize_t (*write_some)(int, const void*, std::size_t)) noexcept;

}  // namespace trackrod
