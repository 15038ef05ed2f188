#include "drivers/protocol/e2e_receiver.hpp"

#include <algorithm>

namespace trackrod {

E2eStatus E2eReceiver::check(std::span<const std::byte> frame) noexcept {
  lost_ = 0;
  note(protection_.profile == E2eProfile::p05 ? check_p05(frame) : check_by_window(frame));
  return status_;
}

E2eStatus E2eReceiver::nothing_came() noexcept {
  lost_ = 0;
  if (protection_.profile != E2eProfile::p05) {
    max_delta_ = std::min(max_delta_ + 1, greatest_delta());
    silent_ = std::min(silent_ + 1, greatest_delta());
  }
  note(E2eStatus::no_new_data);
  return status_;
}

E2eStatus E2eReceiver::check_by_window(std::span<const std::byte> frame) noexcept {
  // With every check that accepts nothing one more step is allowed, since that many frames may have been lost.
  max_delta_ = std::min(max_delta_ + 1, greatest_delta());
  const auto counter = protection_.counter_in(frame);
  if (counter >= protection_.counters()) return E2eStatus::error;
  if (!protection_.intact(frame)) return E2eStatus::wrong_checksum;
  if (first_) {
    first_ = false;
    max_delta_ = limits_.max_delta;
    last_ = counter;
    return E2eStatus::initial;
  }
  const auto delta = (counter + protection_.counters() - last_) % protection_.counters();
  if (delta == 0) {
    silent_ = std::min(silent_ + 1, greatest_delta());
    return E2eStatus::repeated;
  }
  if (delta > max_delta_) {
    silent_ = 0;
    sync_ = limits_.sync_counter;
    if (sync_ > 0) {
      max_delta_ = limits_.max_delta;
      last_ = counter;
    }
    return E2eStatus::wrong_sequence;
  }
  max_delta_ = limits_.max_delta;
  last_ = counter;
  lost_ = delta - 1;
  const bool too_silent = silent_ > limits_.max_silent;
  silent_ = 0;
  if (too_silent) {
    sync_ = limits_.sync_counter;
    return E2eStatus::sync;
  }
  if (sync_ > 0) {
    --sync_;
    return E2eStatus::sync;
  }
  return delta == 1 ? E2eStatus::ok : E2eStatus::some_lost;
}

// Starts as if counter 255 had been there: a sender that starts with us begins with 0.
E2eStatus E2eReceiver::check_p05(std::span<const std::byte> frame) noexcept {
  if (!protection_.intact(frame)) return E2eStatus::error;
  const auto counter = protection_.counter_in(frame);
  const auto last = first_ ? 255U : last_;
  const auto delta = (counter + 256 - last) % 256;
  first_ = false;
  last_ = counter;
  if (delta == 0) return E2eStatus::repeated;
  if (delta > limits_.max_delta) return E2eStatus::wrong_sequence;
  lost_ = delta - 1;
  return delta == 1 ? E2eStatus::ok : E2eStatus::some_lost;
}

E2eReceiver::Seen E2eReceiver::seen(E2eStatus status) const noexcept {
  switch (status) {
    case E2eStatus::ok:
    case E2eStatus::some_lost:
      return Seen::ok;
    case E2eStatus::wrong_checksum:
    case E2eStatus::error:
      return Seen::error;
    case E2eStatus::sync:
      return limits_.initial_is_ok ? Seen::neither : Seen::ok;
    case E2eStatus::initial:
      return limits_.initial_is_ok ? Seen::ok : Seen::neither;
    case E2eStatus::no_new_data:
      return Seen::no_new_data;
    case E2eStatus::repeated:
    case E2eStatus::wrong_sequence:
      break;
  }
  return Seen::neither;
}

void E2eReceiver::note(E2eStatus status) noexcept {
  status_ = status;
  const auto now = seen(status);
  if (state_ == E2eState::no_data) {
    // The window is empty until then, and the check that ends this state does not count.
    if (now != Seen::error && now != Seen::no_new_data) state_ = E2eState::init;
    return;
  }
  window_[top_] = now;
  top_ = (top_ + 1) % limits_.window;
  filled_ = std::min(filled_ + 1, limits_.window);
  switch (state_) {
    case E2eState::init:
      if (meets(limits_.from_init))
        state_ = E2eState::valid;
      else if (!meets({0, limits_.from_init.max_error}))
        state_ = E2eState::invalid;
      break;
    case E2eState::valid:
      if (!meets(limits_.while_valid)) state_ = E2eState::invalid;
      break;
    case E2eState::invalid:
      if (meets(limits_.from_invalid)) state_ = E2eState::valid;
      break;
    case E2eState::no_data:
    case E2eState::deinit:
      break;
  }
}

bool E2eReceiver::meets(E2eLimits::Need need) const noexcept {
  const auto count = [&](Seen what) {
    return static_cast<unsigned>(std::count(window_.begin(), window_.begin() + filled_, what));
  };
  return count(Seen::ok) >= need.min_ok && count(Seen::error) <= need.max_error;
}

}  // namespace trackrod
