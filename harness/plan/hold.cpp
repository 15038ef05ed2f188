// hold: everything stays where it is, or one signal goes to a value and stays there.

#include "harness/plan/drafting.hpp"

namespace trackrod {
namespace {

struct Hold : LimitKeys {
  std::optional<Name> signal;
  std::optional<Located<Quantity>> at;
  Duration time{};
};

const Fields<Hold>& hold_fields() {
  static const auto fields = with_limits(
      Fields<Hold>{"a hold", "Keeps all driven signals where they are, or brings one to a value and keeps it there"}
          .need("for", &Hold::time, duration(shortest_time, longest_time),
                "how long; with 'at', counted from when the value is reached")
          .may("signal", &Hold::signal, maybe(name()), "the driven signal that 'at' is for")
          .may("at", &Hold::at, maybe(any_quantity()), "value to hold 'signal' at"));
  return fields;
}

std::optional<Movement> move_hold(const Hold& hold, Drafting& draft) {
  const double time = seconds(hold.time);
  if (!hold.signal && !hold.at) return Movement{{}, time};
  if (!hold.signal || !hold.at) {
    const bool lone_signal = hold.signal.has_value();
    draft.problems().add(lone_signal ? hold.signal->at : hold.at->at,
                         lone_signal ? "'signal' without 'at'" : "'at' without 'signal'", "both or none",
                         "give both to hold a signal at a value, none to keep everything where it is");
    return {};
  }
  const auto drive = draft.drive(*hold.signal, hold);
  if (!drive) return {};
  const auto at = draft.target(*hold.at, drive->signal);
  if (!at) return {};
  Motion motion{drive->start};
  move_to(motion, *at, drive->limits);
  stay(motion, time);
  const double length = motion.seconds();
  return Movement{{{drive->signal, std::move(motion)}}, length};
}

}  // namespace

StimulusKind hold_stimulus() { return stimulus("hold", hold_fields, move_hold); }

}  // namespace trackrod
