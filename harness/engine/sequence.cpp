#include "harness/engine/sequence.hpp"

namespace trackrod {
namespace {

// How long arming waits for a device to confirm a setting (a supply that reads back).
constexpr Duration settle_limit = std::chrono::seconds{2};
// How long the safe state gives its writes to be handed over: a device that never takes them must not use up the time
// of the lines behind it.
constexpr Duration hand_over_limit = std::chrono::milliseconds{100};

}  // namespace

bool SequenceRunner::handed_over(BenchTime now, const SequenceHands& hands) const noexcept {
  if (wrote_ == BenchTime::min() || now - wrote_ >= hand_over_limit) return true;
  if (now == wrote_) return false;  // what is written in this call goes out after it
  for (std::size_t i = 0; i < position_; ++i)
    if (actions_[i].kind == Action::Kind::set && !hands.settled(actions_[i].signal)) return false;
  return true;
}

SequenceRunner::State SequenceRunner::advance(BenchTime now, const LiveValues& live, SequenceHands& hands) noexcept {
  bool wrote = false;
  while (position_ < actions_.size()) {
    const auto& action = actions_[position_];
    const bool begins = since_ == BenchTime::min();
    if (action.kind == Action::Kind::set) {
      if (begins) hands.write(action.signal, action.value);
      if (begins) since_ = wrote_ = now;
      wrote = true;
      // The safe state does not wait for confirmations: its waits watch the effect itself.
      const bool there = on_failure_ == OnFailure::go_on || (!begins && hands.settled(action.signal));
      if (!there && now - since_ < settle_limit) return State::running;
      if (!there) return State::failed;
      hands.note(position_, false, true);
    } else {
      // What was written has to go out before its effect can be looked for.
      if (wrote) return State::running;
      if (begins) since_ = now;
      if (fresh_from_ == BenchTime::max() && handed_over(now, hands)) fresh_from_ = now;
      const bool fresh = live.latest(action.until.signal).when > fresh_from_;
      const bool met = fresh && action.until.met_by(live.value(action.until.signal));
      if (!met && now - since_ < action.at_most) return State::running;
      hands.note(position_, true, met);
      if (!met) all_seen_ = false;
      if (!met && on_failure_ == OnFailure::stop) return State::failed;
    }
    ++position_;
    since_ = BenchTime::min();
    fresh_from_ = BenchTime::max();
  }
  if (on_failure_ == OnFailure::go_on && !handed_over(now, hands)) return State::running;
  return all_seen_ ? State::done : State::failed;
}

}  // namespace trackrod
