#pragma once
// What a receiver concludes from protected frames, after the AUTOSAR specification of the E2E protocol: the check of
// each frame, and the state machine over the last checks. The state machine is that of the releases with one window
// size; later ones have one for each state and otherwise agree where those are equal.

#include <array>
#include <cstdint>
#include <span>

#include "drivers/protocol/e2e.hpp"

namespace trackrod {

// Result of one check, numbered as published (profile 5 has `error` where 1 and 2 have `wrong_checksum`).
enum class E2eStatus : std::uint8_t {
  ok = 0x00,
  no_new_data = 0x01,
  wrong_checksum = 0x02,
  sync = 0x03,     // right, but the counter is only being found again
  initial = 0x04,  // the first right frame
  error = 0x07,
  repeated = 0x08,
  some_lost = 0x20,
  wrong_sequence = 0x40
};

// State of the message, numbered as published. Its data may be relied on in `valid` only.
enum class E2eState : std::uint8_t { valid = 0, deinit = 1, no_data = 2, init = 3, invalid = 4 };

struct E2eLimits {
  unsigned max_delta{2};      // greatest step of the counter that is accepted; 1 = no frame may be missing
  unsigned max_silent{14};    // profiles 1, 2: checks without a new frame after which the counter must be found again
  unsigned sync_counter{1};   // profiles 1, 2: frames that this takes
  bool initial_is_ok{false};  // true: releases before R4.2, where `initial` counts as right and `sync` does not
  unsigned window{10};        // checks that the state machine looks back on, at most 64
  // Checks in the window: at least so many right ones to be in `valid`, at most so many wrong ones.
  struct Need {
    unsigned min_ok{1}, max_error{0};
  };
  Need from_init{1, 1}, while_valid{1, 2}, from_invalid{3, 0};
};

class E2eReceiver {
 public:
  static constexpr unsigned longest_window = 64;

  E2eReceiver(const E2e& protection, const E2eLimits& limits) : protection_{protection}, limits_{limits} {
    max_delta_ = limits.max_delta;
  }

  // A frame came, or the time for one passed.
  E2eStatus check(std::span<const std::byte> frame) noexcept;
  E2eStatus nothing_came() noexcept;

  E2eState state() const noexcept { return state_; }
  E2eStatus status() const noexcept { return status_; }
  // Frames that the counter told to be missing before the last one.
  unsigned lost() const noexcept { return lost_; }

 private:
  enum class Seen : std::uint8_t { ok, error, neither, no_new_data };
  E2eStatus check_by_window(std::span<const std::byte> frame) noexcept;  // profiles 1 and 2
  E2eStatus check_p05(std::span<const std::byte> frame) noexcept;
  unsigned greatest_delta() const noexcept { return protection_.counters() - 1; }
  Seen seen(E2eStatus status) const noexcept;
  void note(E2eStatus status) noexcept;
  bool meets(E2eLimits::Need need) const noexcept;

  E2e protection_;
  E2eLimits limits_;
  E2eStatus status_{E2eStatus::no_new_data};
  E2eState state_{E2eState::no_data};
  bool first_{true};
  unsigned last_{0};  // counter of the last accepted frame
  unsigned max_delta_{0}, silent_{0}, sync_{0}, lost_{0};
  std::array<Seen, longest_window> window_{};
  unsigned top_{0}, filled_{0};
};

}  // namespace trackrod
