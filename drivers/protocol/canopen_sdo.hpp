#pragma once
// The client's end of the CANopen service data object (CiA 301): reads and writes one entry of a device's object
// dictionary at a time, expedited (up to four bytes) or in segments. Block transfer is not spoken.

#include <array>
#include <cstddef>
#include <cstdint>
#include <span>

#include "drivers/protocol/canopen_object.hpp"
#include "harness/base/time.hpp"

namespace trackrod {

struct SdoResult {
  enum class Kind : std::uint8_t { none, read, written, aborted, no_answer };
  Kind kind{Kind::none};
  std::uint32_t abort_code{0};  // of CiA 301; of `aborted`, by the device or by us
};

class SdoClient {
 public:
  static constexpr std::size_t frame_size = 8;
  static constexpr std::size_t longest_value = 256;  // bytes

  explicit SdoClient(Duration timeout) : timeout_{timeout} {}

  bool idle() const noexcept { return step_ == Step::idle && !unsent_ && result_.kind == SdoResult::Kind::none; }
  // Begin a transfer; only when idle.
  void read(ObjectAddress object) noexcept;
  void write(ObjectAddress object, std::span<const std::byte> value) noexcept;
  // Gives up what is open and lets the next due() tell the device, which may wait for a segment.
  void cancel() noexcept;

  // The next data of a frame to the device; empty when none is due. Valid until the next call.
  std::span<const std::byte> due(BenchTime now) noexcept;
  // The data of a frame from the device. False when it is no answer to what is open.
  bool take(std::span<const std::byte> data) noexcept;

  // Of the transfer that ended; taking it makes the client idle.
  SdoResult take_result() noexcept;
  ObjectAddress object() const noexcept { return object_; }
  // What was read, until the next transfer begins.
  std::span<const std::byte> value() const noexcept { return std::span{value_}.first(size_); }

 private:
  enum class Step : std::uint8_t { idle, ask_read, read_segments, ask_write, write_segments };

  void begin(Step step, ObjectAddress object) noexcept;
  void request(unsigned command) noexcept;
  void finish(SdoResult result) noexcept;
  void abort(std::uint32_t code) noexcept;
  void put_abort(std::uint32_t code) noexcept;
  void next_segment() noexcept;
  bool take_read(unsigned command, std::span<const std::byte> data) noexcept;
  bool take_read_segment(unsigned command, std::span<const std::byte> data) noexcept;
  bool take_written(unsigned command, std::span<const std::byte> data) noexcept;
  bool take_written_segment(unsigned command) noexcept;
  bool names_object(std::span<const std::byte> data) const noexcept;

  Duration timeout_;
  Step step_{Step::idle};
  ObjectAddress object_;
  std::array<std::byte, frame_size> out_{};
  bool unsent_{false};
  BenchTime asked_{};
  bool toggle_{false}, last_{false};
  std::array<std::byte, longest_value> value_{};
  std::size_t size_{0}, done_{0}, announced_{0};  // bytes; announced 0: not told
  SdoResult result_;
};

}  // namespace trackrod
