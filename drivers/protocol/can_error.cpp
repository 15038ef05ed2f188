#include "drivers/protocol/can_error.hpp"

#include <linux/can/error.h>

#include "harness/base/can_frame.hpp"

namespace trackrod {
namespace {

using namespace std::chrono_literals;

constexpr Duration quiet_time = 1s;

unsigned byte_of(const CanFrame& frame, std::size_t i) noexcept {
  return i < frame.data.size() ? std::to_integer<unsigned>(frame.data[i]) : 0U;
}

const char* words_of(CanTrouble trouble) {
  switch (trouble) {
    case CanTrouble::no_acknowledge:
      return "no acknowledge: no other node took a frame; is another one on the bus, powered and at the same bit rate?";
    case CanTrouble::lost_arbitration:
      return "arbitration lost to a frame of higher priority";
    case CanTrouble::protocol_error:
      return "bit, form or stuff error on the bus: look at wiring, termination and bit rates";
    case CanTrouble::transceiver:
      return "transceiver fault: a bus wire is open or shorted";
    case CanTrouble::send_timeout:
      return "the controller did not send a frame in time";
    case CanTrouble::receive_overflow:
      return "the controller lost frames: they came faster than they were fetched";
    case CanTrouble::send_overflow:
      return "the controller lost a frame to send: its buffer was full";
    case CanTrouble::bus_error:
      return "bus error";
    case CanTrouble::error_warning:
      return "error-warning: an error counter of the controller reached 96; look at wiring, termination and bit rates";
    case CanTrouble::error_passive:
      return "error-passive: an error counter of the controller reached 128; it takes little part in the bus now";
    case CanTrouble::bus_off:
      return "bus-off: the controller left the bus after too many errors; nothing is sent or taken. Look at wiring, "
             "termination and bit rates";
    case CanTrouble::restarted:
      return "the controller was restarted after a bus-off";
    case CanTrouble::error_active:
      return "error-active again: the controller's error counters are low";
    case CanTrouble::count:
      break;
  }
  return "";
}

}  // namespace

std::string can_message_words(std::uint32_t code) {
  const auto index = code - first_can_message;
  if (code < first_can_message || index >= static_cast<std::uint32_t>(CanTrouble::count)) return "";
  return words_of(static_cast<CanTrouble>(index));
}

bool CanBusWatch::take(std::span<const std::byte> datagram, BenchTime when) noexcept {
  const auto frame = read_can(datagram);
  if (!frame || !frame->error) return false;
  const auto classes = frame->id;
  const auto controller = byte_of(*frame, 1);
  const auto is = [&](std::uint32_t what) { return (classes & what) != 0; };

  bool named = false;
  const auto met = [&](bool there, CanTrouble trouble) {
    if (there) meet(trouble, when);
    named = named || there;
  };
  met(is(CAN_ERR_ACK), CanTrouble::no_acknowledge);
  met(is(CAN_ERR_LOSTARB), CanTrouble::lost_arbitration);
  met(is(CAN_ERR_PROT), CanTrouble::protocol_error);
  met(is(CAN_ERR_TRX), CanTrouble::transceiver);
  met(is(CAN_ERR_TX_TIMEOUT), CanTrouble::send_timeout);
  if (is(CAN_ERR_CRTL)) {
    met((controller & CAN_ERR_CRTL_RX_OVERFLOW) != 0, CanTrouble::receive_overflow);
    met((controller & CAN_ERR_CRTL_TX_OVERFLOW) != 0, CanTrouble::send_overflow);
    // The worse of both directions: a controller that is passive in one is so as a whole.
    if ((controller & (CAN_ERR_CRTL_RX_PASSIVE | CAN_ERR_CRTL_TX_PASSIVE)) != 0)
      enter(CanTrouble::error_passive);
    else if ((controller & (CAN_ERR_CRTL_RX_WARNING | CAN_ERR_CRTL_TX_WARNING)) != 0)
      enter(CanTrouble::error_warning);
    else if ((controller & CAN_ERR_CRTL_ACTIVE) != 0)
      enter(CanTrouble::error_active);
    named = true;
  }
  if (is(CAN_ERR_RESTARTED)) {
    pending_[static_cast<std::size_t>(CanTrouble::restarted)] = true;
    state_ = CanTrouble::error_active;
    named = true;
  }
  if (is(CAN_ERR_BUSOFF)) {
    enter(CanTrouble::bus_off);
    named = true;
  }
  met(!named && is(CAN_ERR_BUSERROR), CanTrouble::bus_error);
  return true;
}

std::uint32_t CanBusWatch::take_message() noexcept {
  for (std::size_t i = 0; i < kinds; ++i) {
    if (!pending_[i]) continue;
    pending_[i] = false;
    return first_can_message + static_cast<std::uint32_t>(i);
  }
  return 0;
}

void CanBusWatch::enter(CanTrouble state) noexcept {
  if (state == state_) return;
  state_ = state;
  pending_[static_cast<std::size_t>(state)] = true;
}

void CanBusWatch::meet(CanTrouble trouble, BenchTime when) noexcept {
  auto& told = told_[static_cast<std::size_t>(trouble)];
  if (told != BenchTime{} && when - told < quiet_time) return;
  told = when;
  pending_[static_cast<std::size_t>(trouble)] = true;
}

}  // namespace trackrod
