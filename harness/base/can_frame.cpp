#include "harness/base/can_frame.hpp"

#include <algorithm>

namespace trackrod {
namespace {

constexpr std::uint32_t extended_bit = 1U << 31, remote_bit = 1U << 30, error_bit = 1U << 29;
constexpr std::uint32_t standard_mask = 0x7FF, extended_mask = 0x1FFFFFFF;

// The lengths of ISO 11898-1: 0 to 8, and for FD frames the steps that its four-bit length code can say.
bool length_exists(std::size_t length, bool fd) noexcept {
  if (length <= 8) return true;
  constexpr std::array<std::size_t, 7> steps{12, 16, 20, 24, 32, 48, 64};
  return fd && std::find(steps.begin(), steps.end(), length) != steps.end();
}

bool exists(const CanFrame& frame) noexcept {
  const auto mask = frame.extended || frame.error ? extended_mask : standard_mask;
  const bool fd_only = frame.bit_rate_switch || frame.error_passive;
  if (fd_only && !frame.fd) return false;
  if (frame.remote && (frame.fd || !frame.data.empty())) return false;
  return (frame.id & ~mask) == 0 && length_exists(frame.data.size(), frame.fd);
}

}  // namespace

std::optional<CanFrame> read_can(std::span<const std::byte> datagram) noexcept {
  if (datagram.size() < can_header_size) return {};
  std::uint32_t word = 0;
  for (std::size_t i = 0; i < 4; ++i) word = word << 8 | std::to_integer<std::uint32_t>(datagram[i]);
  const auto flags = std::to_integer<unsigned>(datagram[4]);
  if (flags > 7) return {};
  CanFrame frame;
  frame.id = word & extended_mask;
  frame.extended = (word & extended_bit) != 0;
  frame.remote = (word & remote_bit) != 0;
  frame.error = (word & error_bit) != 0;
  frame.fd = (flags & 1) != 0;
  frame.bit_rate_switch = (flags & 2) != 0;
  frame.error_passive = (flags & 4) != 0;
  frame.data = datagram.subspan(can_header_size);
  if (!exists(frame)) return {};
  return frame;
}

std::span<const std::byte> write_can(const CanFrame& frame,
                                     std::array<std::byte, greatest_can_datagram>& into) noexcept {
  if (!exists(frame)) return {};
  const auto word =
      frame.id | (frame.extended ? extended_bit : 0) | (frame.remote ? remote_bit : 0) | (frame.error ? error_bit : 0);
  for (std::size_t i = 0; i < 4; ++i) into[i] = static_cast<std::byte>(word >> (24 - 8 * i));
  into[4] =
      static_cast<std::byte>((frame.fd ? 1 : 0) | (frame.bit_rate_switch ? 2 : 0) | (frame.error_passive ? 4 : 0));
  std::copy(frame.data.begin(), frame.data.end(), into.begin() + can_header_size);
  return {into.data(), can_header_size + frame.data.size()};
}

}  // namespace trackrod
