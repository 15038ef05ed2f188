#pragma once
// How bytes travel. A link moves them and stamps them; it knows nothing of their meaning. A new kind of link is one
// file and one line in link_table().

#include <any>
#include <atomic>
#include <cstddef>
#include <cstdint>
#include <memory>
#include <span>
#include <string>
#include <utility>
#include <vector>

#include "harness/base/can_frame.hpp"
#include "harness/base/catalogue.hpp"
#include "harness/base/error.hpp"
#include "harness/base/fields.hpp"
#include "harness/base/time.hpp"

namespace trackrod {

// A count that one thread raises and any thread reads. Copies are snapshots.
class Count {
 public:
  Count() = default;
  Count(const Count& other) noexcept : n_{other.value()} {}
  Count& operator=(const Count& other) noexcept {
    n_.store(other.value(), std::memory_order_relaxed);
    return *this;
  }
  void operator+=(std::uint64_t more) noexcept { n_.fetch_add(more, std::memory_order_relaxed); }
  void operator++() noexcept { *this += 1; }
  std::uint64_t value() const noexcept { return n_.load(std::memory_order_relaxed); }
  operator std::uint64_t() const noexcept { return value(); }  // NOLINT(google-explicit-constructor): it is a number

 private:
  std::atomic<std::uint64_t> n_{0};
};

// A figure that one thread writes and any thread reads.
class Latest {
 public:
  Latest() = default;
  Latest(const Latest& other) noexcept : n_{other.value()} {}
  Latest& operator=(const Latest& other) noexcept {
    *this = other.value();
    return *this;
  }
  Latest& operator=(std::uint64_t n) noexcept {
    n_.store(n, std::memory_order_relaxed);
    return *this;
  }
  std::uint64_t value() const noexcept { return n_.load(std::memory_order_relaxed); }
  operator std::uint64_t() const noexcept { return value(); }  // NOLINT(google-explicit-constructor): it is a number

 private:
  std::atomic<std::uint64_t> n_{0};
};

struct LinkCounters {
  Count received, received_bytes;
  Count sent, sent_bytes;
  Count send_failures;
  Count dropped_by_kernel;  // told by the kernel's own counter
  Count foreign;            // from a sender that is not the configured peer
  Count refused;            // told by the peer's machine: nobody listens there (the link stays usable)
  Count oversized;          // datagrams larger than the buffer, or empty: not handed on
  // CAN
  Count bus_errors;                       // error frames of the controller
  Count echoes, echoes_missed;            // own frames seen on the bus, and those that were not
  Latest last_echo_ns, greatest_echo_ns;  // from handing over to being on the bus
  Count stamps_replaced;  // kernel stamps outside [last read that found nothing, now]: read time used, widened
};

// The longest message of any link: of ISO-TP (ISO 15765-2, a first frame with a length of 12 bits).
inline constexpr std::size_t longest_message = 4095;

struct Received {
  enum class State : std::uint8_t { bytes, nothing, lost } state{State::nothing};
  std::size_t size{0};
  Stamp stamp;
  int error{0};  // errno behind `lost`; 0 = the far side hung up
};

enum class SendState : std::uint8_t { sent, would_block, lost };
struct SendResult {
  SendState state{SendState::sent};
  std::size_t taken{0};  // bytes the system took; less than asked for only with would_block (serial)
  int error{0};
};

// receive() may be called on another thread than the rest; each side on one thread at a time.
class Link {
 public:
  virtual ~Link() = default;
  // For poll(); the link keeps owning it. -1: nothing to wait on (memory).
  virtual int descriptor() const noexcept = 0;
  // One datagram, or what a serial port holds. Does not block or allocate. `now` is the time of the call, read just
  // before it.
  virtual Received receive(std::span<std::byte> into, BenchTime now) noexcept = 0;
  // Does not block or allocate.
  virtual SendResult send(std::span<const std::byte> bytes, BenchTime now) noexcept = 0;
  // On a bus that others share (CAN): which frames shall arrive (those that at least one filter lets through, none for
  // an empty list; before the first call all do), and which ones we send. Other links carry one peer's messages and
  // take no notice. May block.
  virtual void want(std::span<const CanFilter> /*arriving*/, std::span<const CanFilter> /*own*/) {}
  // Throws away output that the system still holds, where it can (serial).
  virtual void drop_queued_output() noexcept = 0;
  virtual const LinkCounters& counters() const noexcept = 0;
  // "udp 127.0.0.1:47110 <- 127.0.0.1:47111", for messages.
  virtual std::string describe() const = 0;
  // What the technician should know of how it was opened (a smaller buffer than asked for, ...); mostly empty.
  virtual std::string remark() const { return ""; }
};

// How a wire of some kind behaves in a rehearsal.
struct WirePath {
  Duration delay{};   // from handing over to being there, the time on the wire not included
  Duration jitter{};  // added to the delay, uniform over [0, jitter]; order is kept
  double loss{0.0};   // chance that a datagram, or each byte of a stream, does not come
};
struct WireModel {
  using Mode = Carries;  // CAN frames travel as datagrams
  Mode mode{Mode::datagrams};
  WirePath outward, inward;      // from the bench; to it
  Duration byte_time{};          // time on the wire of one byte
  Duration stamp_uncertainty{};  // half-width of a datagram's stamp
  Duration message_time{};       // time on the wire of a message, beside its bytes
};

struct LinkKind {
  KindEntry entry;
  // Opens the port: may block and allocate. The error's sentence says which port and what to try. The descriptor closes
  // on exec unless whoever starts the other process says otherwise.
  Result<std::unique_ptr<Link>> (*open)(const std::any& settings);
  // Takes over a descriptor that another process opened with `open`. Input that waited in it is dropped: nobody knows
  // when it came.
  std::unique_ptr<Link> (*adopt)(const std::any& settings, int descriptor);
  // Opens the other end of the wire, for a program that stands in for the device: the socket at the peer's address; a
  // pseudo-terminal that is found under the port's path.
  Result<std::unique_ptr<Link>> (*open_far_end)(const std::any& settings);
  WireModel (*model)(const std::any& settings);
  // What only one device of a bench can open, in words: "serial port /dev/ttyUSB0". Empty where several can.
  std::string (*sole)(const std::any& settings);
};
// A line of link_table() whose `open` and `adopt` are those of a class.
template <class Opened, class Settings>
LinkKind opened_by(KindEntry entry, decltype(LinkKind::open_far_end) open_far_end, decltype(LinkKind::model) model,
                   decltype(LinkKind::sole) sole) {
  return {std::move(entry),
          [](const std::any& any) -> Result<std::unique_ptr<Link>> {
            return Opened::open(std::any_cast<const Settings&>(any));
          },
          [](const std::any& any, int descriptor) -> std::unique_ptr<Link> {
            return Opened::adopt(std::any_cast<const Settings&>(any), descriptor);
          },
          open_far_end,
          model,
          sole};
}
const std::vector<LinkKind>& link_table();
// The line of the table; `kind` was checked by the bench's reader, so an unknown one ends the program.
const LinkKind& link_kind(const std::string& kind);
// What a link of the bench carries, for Catalogue::carries.
inline Carries carried_by(const Chosen& link) { return link_kind(link.kind).model(link.value).mode; }
// Its `sole`, for Catalogue::sole.
inline std::string sole_of(const Chosen& link) { return link_kind(link.kind).sole(link.value); }

}  // namespace trackrod
