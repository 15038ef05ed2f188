#pragma once
// Takes input from all links as soon as it is there, on a thread of its own, and hands it to the loop through a ring.
// In virtual time the same work is done inline.

#include <poll.h>
#include <pthread.h>

#include <array>
#include <atomic>
#include <boost/lockfree/spsc_queue.hpp>
#include <cstddef>
#include <cstdint>
#include <span>
#include <vector>

#include "drivers/link/byte_ring.hpp"
#include "drivers/link/link.hpp"

namespace trackrod {

// What came over one link at one read.
struct Arrival {
  std::uint16_t link{0};            // position in the list that the reader was given
  std::uint16_t size{0};            // 0: the link is lost
  int error{0};                     // errno behind the loss; 0 = the far side hung up
  Stamp stamp;                      // of the bytes, or of the loss
  const std::byte* bytes{nullptr};  // valid within the call that hands it over
  std::uint64_t bytes_end{0};       // where they end in the reader's ring

  bool lost() const noexcept { return size == 0; }
  std::span<const std::byte> data() const noexcept { return {bytes, size}; }
};

// Allocates only when it is made and started. The links must outlive it.
class Reader {
 public:
  static constexpr std::size_t default_room = 2048;  // arrivals

  explicit Reader(std::vector<Link*> links, std::size_t room = default_room);
  ~Reader();  // stops
  Reader(const Reader&) = delete;
  Reader& operator=(const Reader&) = delete;

  // Starts the thread. `priority` > 0 asks for SCHED_FIFO at that priority: true when the system granted it, false when
  // it did not (or was not asked) and the thread runs all the same. Error: no thread could be made.
  Result<bool> start(int priority);
  // Ends the thread and waits for it. Harmless when none runs.
  void stop() noexcept;

  // Instead of start(): reads every link once until it is empty, at `now`. Allocates nothing, does not block.
  void poll_inline(BenchTime now) noexcept;

  // Hands each arrival that is there at the call to take(const Arrival&), oldest first, and returns their number. On
  // one thread, which may be another than the reading one. Allocates nothing, does not block.
  template <class F>
  std::size_t consume(F&& take) {
    const std::size_t there = ring_.read_available();
    for (std::size_t i = 0; i < there; ++i)
      ring_.consume_one([&](const Arrival& arrival) {
        take(arrival);
        bytes_.free(arrival.bytes_end);
      });
    return there;
  }

  // Arrivals that found no room in the ring: their bytes are gone. Any thread.
  std::uint64_t dropped() const noexcept { return dropped_; }

 private:
  enum class LinkState : std::uint8_t { open, loss_untold, lost };

  static void* run(void* self) noexcept;
  void watch() noexcept;
  // True when something came, or the link turned out to be lost.
  bool drain(std::size_t link, const TimeSource& clock) noexcept;
  void tell_loss(std::size_t link, BenchTime now) noexcept;

  std::vector<Link*> links_;
  std::vector<LinkState> states_;
  std::vector<int> loss_errors_;
  std::vector<pollfd> polled_;  // one a link, and the timer last
  boost::lockfree::spsc_queue<Arrival> ring_;
  ByteRing bytes_;                                  // of the arrivals in the ring
  std::array<std::byte, longest_message> nowhere_;  // takes what finds no room
  Count dropped_;
  std::atomic<bool> ending_{false};
  int sweep_timer_{-1};
  bool running_{false};
  pthread_t thread_{};
};

}  // namespace trackrod
