#pragma once
// Finds messages in a stream of bytes that has no bounds of its own: by a length in the message, by the bytes that end
// it, or by silence after it. No clock, no waiting: time comes with the stamps.

#include <cstddef>
#include <cstdint>
#include <span>
#include <variant>
#include <vector>

#include "drivers/protocol/bits.hpp"
#include "harness/base/fields.hpp"
#include "harness/base/time.hpp"

namespace trackrod {

// The message says how long it is.
struct LengthFraming {
  std::vector<std::byte> start;  // what each message begins with; may be empty
  int at{0};                     // first byte of the length
  int bytes{1};                  // 1 or 2
  ByteOrder order{ByteOrder::little};
  int adds{0};  // whole length = number in the message + this
};
// The message ends before these bytes, which stand nowhere in it.
struct DelimiterFraming {
  std::vector<std::byte> delimiter;  // 1 to 4
};
// The message ends when nothing comes for so long.
struct IdleGapFraming {
  Duration gap{};
  Duration spacing{};  // to be kept between the beginnings of messages that are sent
};
using Framing = std::variant<LengthFraming, DelimiterFraming, IdleGapFraming>;

// Of a bench file: {"by": "length", ...}.
Shape<Framing> framing_shape();

class MessageSink {
 public:
  virtual ~MessageSink() = default;
  // A whole message, without a delimiter; `stamp` is that of its last piece. True when it is a good one: bytes of a bad
  // one may be looked at again.
  virtual bool message(std::span<const std::byte> bytes, Stamp stamp) noexcept = 0;
  // Bytes that belong to no message, once for each run of them.
  virtual void garbage() noexcept = 0;
};

// What comes before a good message costs that one at most, and nothing where the length tells. However the bytes are
// cut into pieces, the messages are the same; only with an idle gap the stamps count too. Allocates only when it is
// made; each byte is moved a bounded number of times.
class StreamFramer {
 public:
  // `longest`: bytes of the longest message; what is longer is none.
  StreamFramer(const Framing& framing, std::size_t longest);

  void take(std::span<const std::byte> bytes, Stamp stamp, MessageSink& sink) noexcept;
  // Time has passed: ends a message after which nothing more came. The gap counts from the newest stamp, so it must
  // exceed what lies between a byte and its being read (an adapter's latency, a tick of the loop).
  void quiet(BenchTime now, MessageSink& sink) noexcept;

 private:
  void take_by_length(std::span<const std::byte> bytes, Stamp stamp, MessageSink& sink) noexcept;
  void take_by_delimiter(std::byte b, Stamp stamp, MessageSink& sink) noexcept;
  // The length of the message that `bytes` begin, 0 when they begin none, or `more` when they do not tell yet.
  std::size_t length_of(const LengthFraming& framing, std::span<const std::byte> bytes) const noexcept;
  void keep(std::byte b) noexcept;
  void end(std::size_t size, MessageSink& sink) noexcept;

  static constexpr std::size_t more = SIZE_MAX;

  Framing framing_;
  std::size_t longest_;
  std::vector<std::byte> kept_;
  std::size_t size_{0};
  bool too_long_{false};   // the rest of what does not fit is passed over
  bool skipping_{false};   // by length: garbage was told of
  std::uint32_t tail_{0};  // by delimiter: the newest bytes
  Stamp last_;
};

}  // namespace trackrod
