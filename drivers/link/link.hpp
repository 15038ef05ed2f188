#pragma once
// How bytes travel. A link moves them and stamps them; it knows nothing of their meaning. A new kind of link is one file
// and one line in link_table().

#include <any>
#include <cstddef>
#include <cstdint>
#include <memory>
#include <span>
#include <string>
#include <vector>

#include "harness/base/error.hpp"
#include "harness/base/fields.hpp"
#include "harness/base/time.hpp"

namespace trackrod {

struct LinkCounters {
  std::uint64_t received{0}, received_bytes{0};
  std::uint64_t sent{0}, sent_bytes{0};
  std::uint64_t send_failures{0};
  std::uint64_t dropped_by_kernel{0};   // told by the kernel's own counter
  std::uint64_t foreign{0};             // from a sender that is not the configured peer
  std::uint64_t stamps_replaced{0};     // kernel stamps outside [previous read, now]: read time used, widened
};

struct Received {
  enum class State : std::uint8_t { bytes, nothing, lost } state{State::nothing};
  std::size_t size{0};
  Stamp stamp;
  int error{0};          // errno behind `lost`; 0 = the far side hung up
};

enum class SendState : std::uint8_t { sent, would_block, lost };
struct SendResult {
  SendState state{SendState::sent};
  std::size_t taken{0};  // bytes the system took; less than asked for only with would_block (serial)
  int error{0};
};

class Link {
 public:
  virtual ~Link() = default;
  // For poll(); the link keeps owning it. -1: nothing to wait on (memory).
  virtual int descriptor() const noexcept = 0;
  // One datagram, or what a serial port holds. Does not block or allocate. `now` is the time of the call.
  virtual Received receive(std::span<std::byte> into, BenchTime now) noexcept = 0;
  // Does not block or allocate.
  virtual SendResult send(std::span<const std::byte> bytes, BenchTime now) noexcept = 0;
  // Throws away output that the system still holds, where it can (serial).
  virtual void drop_queued_output() noexcept = 0;
  virtual const LinkCounters& counters() const noexcept = 0;
  // "udp 127.0.0.1:47110 <- 127.0.0.1:47111", for messages.
  virtual std::string describe() const = 0;
};

struct LinkKind {
  KindEntry entry;
  // Opens the port: may block and allocate. The error's sentence says which port and what to try.
  Result<std::unique_ptr<Link>> (*open)(const std::any& settings);
  // Takes over a descriptor that another process opened with `open`.
  std::unique_ptr<Link> (*adopt)(const std::any& settings, int descriptor);
};
const std::vector<LinkKind>& link_table();

}  // namespace trackrod
