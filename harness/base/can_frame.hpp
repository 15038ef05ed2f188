#pragma once
// A CAN frame as the bytes of one datagram, so that links move it and protocols read it like any other message:
//   4 bytes  identifier, most significant byte first; bit 31 = 29-bit identifier, 30 = remote request, 29 = error frame
//   1 byte   bit 0 = FD frame, bit 1 = its bit rate is switched, bit 2 = the sender is error-passive
//   0 to 64  data bytes
// The three flag bits of the identifier and the meaning of error frames are those of linux/can.h and linux/can/error.h.

#include <array>
#include <cstddef>
#include <cstdint>
#include <optional>
#include <span>

namespace trackrod {

struct CanFrame {
  std::uint32_t id{0};  // 11 or 29 bits; of an error frame its class bits
  bool extended{false}, remote{false}, error{false};
  bool fd{false}, bit_rate_switch{false}, error_passive{false};
  std::span<const std::byte> data;  // belongs to whoever made the frame
};

inline constexpr std::size_t can_header_size = 5;
inline constexpr std::size_t greatest_can_datagram = can_header_size + 64;

// Empty when the bytes are no frame: too short, too long, an identifier or a length that CAN does not have. The data
// stay in `datagram`.
std::optional<CanFrame> read_can(std::span<const std::byte> datagram) noexcept;
// The bytes in `into`; empty when the frame cannot exist.
std::span<const std::byte> write_can(const CanFrame& frame,
                                     std::array<std::byte, greatest_can_datagram>& into) noexcept;

// Frames that somebody wants: those whose identifier, with `extended` told apart, equals `id` in the bits of `mask`.
struct CanFilter {
  std::uint32_t id{0}, mask{0};
  bool extended{false};
};

}  // namespace trackrod
