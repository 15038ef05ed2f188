#pragma once
// What the controller says of its bus, in error frames (their bits are those of linux/can/error.h), as messages of a
// device: a code, and words for it.

#include <array>
#include <cstddef>
#include <cstdint>
#include <span>
#include <string>

#include "harness/base/time.hpp"

namespace trackrod {

// In the order in which they are told when several wait.
enum class CanTrouble : std::uint8_t {
  no_acknowledge,
  lost_arbitration,
  protocol_error,
  transceiver,
  send_timeout,
  receive_overflow,
  send_overflow,
  bus_error,  // of no kind that the controller names
  error_warning,
  error_passive,
  bus_off,
  restarted,
  error_active,
  count
};

// The codes of these messages, clear of those that devices and protocols have.
inline constexpr std::uint32_t first_can_message = 300001;
// "bus-off: ...", with what to look at; empty for other codes. May allocate.
std::string can_message_words(std::uint32_t code);

// Keeps the state of one bus as its error frames tell it. Allocates nothing. One thread.
class CanBusWatch {
 public:
  // True when the datagram (can_frame.hpp) is an error frame: it is dealt with. A change of the controller's state is
  // told each time, other troubles at most once a second: a short circuit makes thousands.
  bool take(std::span<const std::byte> datagram, BenchTime when) noexcept;
  // The code of the next message, 0 = none. Taking it clears it.
  std::uint32_t take_message() noexcept;

 private:
  static constexpr auto kinds = static_cast<std::size_t>(CanTrouble::count);

  void enter(CanTrouble state) noexcept;
  void meet(CanTrouble trouble, BenchTime when) noexcept;

  CanTrouble state_{CanTrouble::error_active};
  std::array<bool, kinds> pending_{};
  std::array<BenchTime, kinds> told_{};  // zero: never
};

}  // namespace trackrod
