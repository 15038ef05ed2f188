#include "drivers/protocol/canopen_402.hpp"

#include "drivers/protocol/canopen_messages.hpp"

namespace trackrod {
namespace {

// CiA 402, commands of the control word.
enum Control : std::uint16_t {
  disable_voltage = 0x0000,
  quick_stop = 0x0002,
  shutdown = 0x0006,
  switch_on = 0x0007,  // also: disable operation
  enable_operation = 0x000F,
  fault_reset = 0x0080
};

struct Transition {
  Control control;
  DriveState leads_to;
};

// The next transition on the way; numbers are those of CiA 402.
Transition toward(DriveState from, DriveState to) noexcept {
  using enum DriveState;
  if (to == disabled || from == DriveState::quick_stop) return {disable_voltage, disabled};  // 7, 9, 10, 12
  if (to == DriveState::quick_stop)
    return {Control::quick_stop, from == enabled ? DriveState::quick_stop : disabled};  // 11, 7, 10
  if (from == disabled || to == ready) return {shutdown, ready};                        // 2, 6, 8
  if (from == ready || to == switched_on) return {switch_on, switched_on};              // 3, 5
  return {enable_operation, enabled};                                                   // 4
}

// What holds a drive in a state.
Control holding(DriveState state) noexcept {
  switch (state) {
    case DriveState::ready:
      return shutdown;
    case DriveState::switched_on:
      return switch_on;
    case DriveState::enabled:
      return enable_operation;
    case DriveState::quick_stop:
      return quick_stop;
    default:
      return disable_voltage;
  }
}

std::uint32_t two_states(CanopenMessage kind, DriveState a, DriveState b) noexcept {
  return canopen_message(kind, static_cast<std::uint32_t>(a) << 8 | static_cast<std::uint32_t>(b));
}

}  // namespace

const char* drive_state_name(DriveState state) noexcept {
  switch (state) {
    case DriveState::not_ready:
      return "not ready to switch on";
    case DriveState::disabled:
      return "switch on disabled";
    case DriveState::ready:
      return "ready to switch on";
    case DriveState::switched_on:
      return "switched on";
    case DriveState::enabled:
      return "operation enabled";
    case DriveState::quick_stop:
      return "quick stop active";
    case DriveState::fault_reaction:
      return "fault reaction active";
    case DriveState::fault:
      return "fault";
    case DriveState::unknown:
      break;
  }
  return "unknown";
}

DriveState drive_state_of(std::uint16_t word) noexcept {
  switch (word & 0x4F) {
    case 0x00:
      return DriveState::not_ready;
    case 0x40:
      return DriveState::disabled;
    case 0x0F:
      return DriveState::fault_reaction;
    case 0x08:
      return DriveState::fault;
    default:
      break;
  }
  switch (word & 0x6F) {
    case 0x21:
      return DriveState::ready;
    case 0x23:
      return DriveState::switched_on;
    case 0x27:
      return DriveState::enabled;
    case 0x07:
      return DriveState::quick_stop;
    default:
      return DriveState::unknown;
  }
}

void DriveWalk::want(DriveState state) noexcept {
  wanted_ = state;
  if (state == DriveState::disabled) armed_ = true;
  if (state == DriveState::quick_stop) armed_ = false;
}

void DriveWalk::forget() noexcept {
  state_ = overtaken_ = DriveState::unknown;
  armed_ = walking_ = reset_asked_ = resetting_ = false;
  control_ = disable_voltage;
}

// Without a wish that counts: down, but a drive that holds itself by a quick stop is left there.
DriveState DriveWalk::goal() const noexcept {
  if (wanted_ == DriveState::quick_stop || (!armed_ && state_ == DriveState::quick_stop)) return DriveState::quick_stop;
  return armed_ ? wanted_ : DriveState::disabled;
}

std::uint32_t DriveWalk::on_status(std::uint16_t word, BenchTime) noexcept {
  const auto now = drive_state_of(word);
  if (now == state_ || now == DriveState::unknown) return 0;
  const auto before = state_;
  state_ = now;
  const bool was_asked_for = walking_ && (now == next_ || now == overtaken_);
  if (was_asked_for) walking_ = false;
  overtaken_ = DriveState::unknown;
  const bool faulty = now == DriveState::fault || now == DriveState::fault_reaction;
  const bool was_faulty = before == DriveState::fault || before == DriveState::fault_reaction;
  if (faulty) {
    armed_ = walking_ = reset_asked_ = resetting_ = false;
    return was_faulty ? 0 : two_states(CanopenMessage::drive_left_by_itself, before, now);
  }
  resetting_ = false;
  // Transitions 0, 1 and 12 are the drive's own; 15 was asked for, or somebody else did.
  const bool by_rule = before == DriveState::unknown || before == DriveState::not_ready || was_faulty ||
                       (before == DriveState::quick_stop && now == DriveState::disabled);
  // Into `quick_stop` and on before a status word told of it.
  const bool quick_stop_done = wanted_ == DriveState::quick_stop && now == DriveState::disabled;
  if (was_asked_for || by_rule || quick_stop_done) return 0;
  armed_ = walking_ = false;
  return two_states(CanopenMessage::drive_left_by_itself, before, now);
}

std::uint32_t DriveWalk::step(BenchTime now, bool mode_is_right) noexcept {
  switch (state_) {
    case DriveState::unknown:
      // What leads down needs no knowledge of the state.
      if (wanted_ == DriveState::disabled || wanted_ == DriveState::quick_stop) control_ = holding(wanted_);
      return 0;
    case DriveState::not_ready:
    case DriveState::fault_reaction:
      control_ = disable_voltage;
      return 0;
    case DriveState::fault:
      if (reset_asked_) {
        reset_asked_ = false;
        resetting_ = true;
        since_ = now;
      }
      control_ = resetting_ ? fault_reset : disable_voltage;
      if (!resetting_ || now - since_ <= timeout_) return 0;
      resetting_ = false;
      return refused(DriveState::disabled);
    default:
      break;
  }
  const auto aim = goal();
  if (state_ == aim || (aim == DriveState::quick_stop && state_ == DriveState::disabled)) {
    walking_ = false;
    control_ = holding(aim);
    return 0;
  }
  const auto transition = toward(state_, aim);
  if (!walking_ || next_ != transition.leads_to) {
    if (walking_) overtaken_ = next_;
    walking_ = true;
    next_ = transition.leads_to;
    since_ = now;
  }
  control_ = transition.leads_to == DriveState::enabled && !mode_is_right ? switch_on : transition.control;
  if (now - since_ <= timeout_) return 0;
  since_ = now;  // what leads down is asked for again and again
  return refused(next_);
}

std::uint32_t DriveWalk::refused(DriveState asked) noexcept {
  if (asked != DriveState::disabled && asked != DriveState::quick_stop) armed_ = walking_ = false;
  return two_states(CanopenMessage::drive_refused, state_, asked);
}

std::uint32_t DriveWalk::saved() const noexcept { return static_cast<std::uint32_t>(wanted_) | (armed_ ? 0x80U : 0U); }

void DriveWalk::load(std::uint32_t saved, std::uint16_t control_word) noexcept {
  forget();
  wanted_ = static_cast<DriveState>(saved & 0xF);
  armed_ = (saved & 0x80) != 0;
  control_ = control_word;
}

}  // namespace trackrod
