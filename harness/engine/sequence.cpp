#include "harness/engine/sequence.hpp"

namespace trackrod {
namespace {

// How long arming waits for a device to confirm a setting (a supply that reads back).
constexpr Duration settle_limit = std::chrono::seconds{2};

}  // namespace

SequenceRunner::State SequenceRunner::advance(BenchTime now, const LiveValues& live, SequenceHands& hands) noexcept {
  bool wrote = false;
  while (position_ < actions_.size()) {
    const auto& action = actions_[position_];
    const bool begins = since_ == BenchTime::min();
    if (action.kind == Action::Kind::set) {
      if (begins) hands.write(action.signal, action.value);
      if (begins) since_ = now;
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
      const bool fresh = live.latest(action.until.signal).when > since_;
      const bool met = fresh && action.until.met_by(live.value(action.until.signal));
      if (!met && now - since_ < action.at_most) return State::running;
      hands.note(position_, true, met);
      if (!met) all_seen_ = false;
      if (!met && on_failure_ == OnFailure::stop) return State::failed;
    }
    ++position_;
    since_ = BenchTime::min();
  }
  return all_seen_ ? State::done : State::failed;
}

}  // namespace trackrod
