#pragma once
// Frames of packed bits on a CAN bus: each travels in a CAN frame of its own, told by that one's identifier.

#include <any>
#include <cstdint>
#include <optional>
#include <string>

#include "harness/base/can_frame.hpp"
#include "harness/base/catalogue.hpp"
#include "harness/base/fields.hpp"

namespace trackrod {

// How a frame travels on CAN.
struct CanPlace {
  Located<std::uint32_t> id;
  bool extended{false};         // 29 bits, not 11
  bool fd{false};               // as an FD frame, which holds up to 64 bytes
  bool bit_rate_switch{false};  // FD: data at the higher bit rate

  bool same_identifier(const CanPlace& other) const noexcept {
    return id.value == other.id.value && extended == other.extended;
  }
  bool holds(const CanFrame& frame) const noexcept { return id.value == frame.id && extended == frame.extended; }
  CanFilter filter() const noexcept { return {id.value, extended ? 0x1FFFFFFFU : 0x7FFU, extended}; }
  CanFrame frame_of(std::span<const std::byte> data) const noexcept {
    return {id.value, extended, false, false, fd, bit_rate_switch, false, data};
  }
};
const Fields<CanPlace>& can_place_fields();

// CAN can carry so many bytes in this way.
bool fits_can(const CanPlace& place, std::size_t bytes) noexcept;
// A frame of `length` bytes that CAN cannot carry in this way is told at `length`.
void check_can_place(const CanPlace& place, const Located<int>& length, Problems& problems);

struct FramesSettings;
// What does not fit the link: frames without identifiers on a CAN bus, frames with them elsewhere, bytes without bounds
// where "stream" is false.
void check_frames_over(const FramesSettings& settings, Carries carries, const Where& link, Problems& problems);

}  // namespace trackrod
