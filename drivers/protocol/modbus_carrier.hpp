#pragma once
// What carries Modbus messages: on a serial line (RTU, "MODBUS over Serial Line" V1.02) an address in front and a
// checksum behind; on TCP ("Messaging on TCP/IP Implementation Guide" V1.0b) a header with a transaction number.

#include <array>
#include <cstddef>
#include <cstdint>
#include <optional>
#include <span>

#include "drivers/protocol/modbus_pdu.hpp"
#include "harness/base/time.hpp"

namespace trackrod {

enum class ModbusTransport : std::uint8_t { rtu, tcp };

// One message with its carrier around it.
struct ModbusMessage {
  std::uint16_t transaction{0};  // TCP
  std::span<const std::byte> pdu;
};

inline constexpr std::size_t longest_modbus = 260;  // bytes: 253 of the message and 7 of the TCP header

// The bytes to send, in `into`. `pdu`: at most 253 bytes.
std::span<const std::byte> carry_modbus(ModbusTransport transport, unsigned unit, const ModbusMessage& message,
                                        std::array<std::byte, longest_modbus>& into) noexcept;

// Finds the messages of one unit in a stream of bytes. Those with a wrong checksum and those of other units are passed
// over in silence.
class ModbusReceiver {
 public:
  // `gap`: RTU: a silence as long as this ends a message; what is not complete then is dropped.
  ModbusReceiver(ModbusTransport transport, unsigned unit, ModbusSide side, Duration gap);

  // Takes as many bytes as it has room for, and returns the rest: call next() until it is empty, then take the rest.
  std::span<const std::byte> take(std::span<const std::byte> bytes, Stamp stamp) noexcept;
  // The next whole message, valid until the next call of anything here.
  std::optional<ModbusMessage> next() noexcept;
  // Forgets what is not complete.
  void drop() noexcept { size_ = done_ = 0; }

  std::uint64_t bad_checksums() const noexcept { return bad_checksums_; }
  std::uint64_t bad_lengths() const noexcept { return bad_lengths_; }

 private:
  std::optional<ModbusMessage> next_rtu() noexcept;
  std::optional<ModbusMessage> next_tcp() noexcept;
  std::span<const std::byte> rest() const noexcept { return std::span{bytes_}.first(size_).subspan(done_); }

  ModbusTransport transport_;
  ModbusSide side_;
  unsigned unit_;
  Duration gap_;
  std::array<std::byte, 2 * longest_modbus> bytes_{};
  std::size_t size_{0}, done_{0};  // kept bytes; of them those already looked at
  BenchTime last_{};               // when the last bytes came
  std::uint64_t bad_checksums_{0}, bad_lengths_{0};
};

}  // namespace trackrod
