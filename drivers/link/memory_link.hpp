#pragma once
// A wire between two ends in one process, for rehearsals and tests: bytes that go in at one end come out at the other,
// later, as a model says. Time is the `now` that the callers pass in, so nothing here reads a clock or waits.

#include <cstdint>
#include <memory>
#include <string>

#include "drivers/link/link.hpp"

namespace trackrod {

// Copies are handles to the same wire. One thread. The same model, seed and calls give the same arrivals.
class MemoryWire {
 public:
  MemoryWire(const WireModel& model, std::uint64_t seed, std::string name);

  // The two ends; any number of links may be asked for, all of one side share its state. They keep the wire alive.
  // receive() and send() allocate nothing. Datagrams beyond 256 under way are lost and counted as dropped by the
  // kernel; a stream takes no more then (would_block). Stamps: a datagram's modelled arrival, by the kernel; a
  // stream's time of reading, by the harness, believed within the time since the last read that found nothing.
  std::unique_ptr<Link> bench_end() const;
  std::unique_ptr<Link> far_end() const;

  // From now on both ends are lost, as when a cable is pulled out; what was under way is gone.
  void cut() noexcept;

  struct State;

 private:
  std::shared_ptr<State> state_;
};

}  // namespace trackrod
