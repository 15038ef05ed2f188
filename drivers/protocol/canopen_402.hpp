#pragma once
// The state machine of a drive after CiA 402 (IEC 61800-7-201), walked from outside: one control word at a time, each
// transition seen in the status word before the next one is asked for.
//
// A drive is never brought back on by itself. After a fault, after a state that nobody asked for, and at the start, the
// wish for more than `disabled` counts only when `disabled` was wished for in between.

#include <cstdint>

#include "harness/base/time.hpp"

namespace trackrod {

enum class DriveState : std::uint8_t {
  not_ready = 0,
  disabled = 1,  // switch on disabled
  ready = 2,     // ready to switch on
  switched_on = 3,
  enabled = 4,  // operation enabled
  quick_stop = 5,
  fault_reaction = 6,
  fault = 7,
  unknown = 8  // no status word yet
};
const char* drive_state_name(DriveState state) noexcept;

// By the published masks of the status word; `unknown` for a combination that they do not name.
DriveState drive_state_of(std::uint16_t status_word) noexcept;

class DriveWalk {
 public:
  // A transition that takes longer was refused.
  explicit DriveWalk(Duration transition_timeout) : timeout_{transition_timeout} {}

  // disabled, ready, switched_on, enabled or quick_stop.
  void want(DriveState state) noexcept;
  // Leads out of `fault`, once, at its next occurrence after the call.
  void reset_fault() noexcept { reset_asked_ = state_ == DriveState::fault; }
  // Nothing is known of the drive any more.
  void forget() noexcept;

  // A status word came. Returns a message (canopen_messages.hpp) or 0.
  std::uint32_t on_status(std::uint16_t status_word, BenchTime now) noexcept;
  // Works out the control word for now. `mode_is_right`: the drive shows the mode of operation that was asked for, so
  // that it may be enabled. Returns a message or 0.
  std::uint32_t step(BenchTime now, bool mode_is_right) noexcept;

  std::uint16_t control_word() const noexcept { return control_; }
  DriveState state() const noexcept { return state_; }
  DriveState wanted() const noexcept { return wanted_; }
  bool arrived() const noexcept { return state_ == wanted_ && wanted_ == goal(); }
  // For the process that takes over: the wish and whether it counts.
  std::uint32_t saved() const noexcept;
  void load(std::uint32_t saved, std::uint16_t control_word) noexcept;

 private:
  DriveState goal() const noexcept;
  std::uint32_t refused(DriveState asked) noexcept;

  Duration timeout_;
  DriveState state_{DriveState::unknown}, wanted_{DriveState::disabled};
  bool armed_{false};  // the wish for more than `disabled` counts
  std::uint16_t control_{0};
  bool walking_{false};
  DriveState next_{DriveState::disabled};  // the transition being waited for leads there
  // One asked for before it, which may still come about.
  DriveState overtaken_{DriveState::unknown};
  BenchTime since_{};
  bool reset_asked_{false}, resetting_{false};
};

}  // namespace trackrod
