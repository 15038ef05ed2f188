#include "drivers/link/byte_stream.hpp"

#include <unistd.h>

#include <cerrno>

namespace trackrod {

Received StreamReads::receive(int descriptor, std::span<std::byte> into, BenchTime now, Duration held_back,
                              LinkCounters& counters) noexcept {
  ssize_t size = 0;
  do size = read(descriptor, into.data(), into.size());
  while (size < 0 && errno == EINTR);
  if (size < 0 && errno == EAGAIN) {
    last_empty_ = now;
    return {};
  }
  if (size <= 0) return {Received::State::lost, 0, {}, size < 0 ? errno : 0};
  const auto read_at = SteadyTime{}.now();
  const Stamp stamp{read_at, StampedBy::harness, read_at - last_empty_ + held_back};
  if (static_cast<std::size_t>(size) < into.size()) last_empty_ = now;
  ++counters.received;
  counters.received_bytes += static_cast<std::uint64_t>(size);
  return {Received::State::bytes, static_cast<std::size_t>(size), stamp, 0};
}

SendResult send_stream(int descriptor, std::span<const std::byte> bytes, LinkCounters& counters,
                       ssize_t (*write_some)(int, const void*, std::size_t)) noexcept {
  std::size_t taken = 0;
  while (taken < bytes.size()) {
    const auto n = write_some(descriptor, bytes.data() + taken, bytes.size() - taken);
    if (n < 0 && errno == EINTR) continue;
    if (n < 0 && errno != EAGAIN) {
      ++counters.send_failures;
      return {SendState::lost, taken, errno};
    }
    if (n <= 0) break;
    taken += static_cast<std::size_t>(n);
    counters.sent_bytes += static_cast<std::uint64_t>(n);
  }
  if (taken < bytes.size()) return {SendState::would_block, taken, 0};
  ++counters.sent;
  return {SendState::sent, taken, 0};
}

}  // namespace trackrod
