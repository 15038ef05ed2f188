// ramp: to a value at a steady rate.

#include "harness/plan/drafting.hpp"

namespace trackrod {
namespace {

struct Ramp : DriveKeys {
  Located<Quantity> to, rate;
  Duration time{};
};

const Fields<Ramp>& ramp_fields() {
  static const auto fields =
      driving(
          Fields<Ramp>{"a ramp",
                       "Goes to a value at a steady rate; rounded at both ends where acceleration or jerk is limited"})
          .need("to", &Ramp::to, any_quantity(), "value to go to")
          .need("rate", &Ramp::rate, any_quantity(),
                "rate, in the signal's unit per second; positive in either direction")
          .may("for", &Ramp::time, duration(Duration{0}, longest_time),
               "how long the value is held once it is reached");
  return fields;
}

std::optional<Movement> move_ramp(const Ramp& ramp, Drafting& draft) {
  const auto drive = draft.drive(ramp);
  if (!drive) return {};
  const auto to = draft.target(ramp.to, drive->signal);
  const auto rate = draft.rate(ramp.rate, *drive);
  if (!to || !rate) return {};
  Motion motion{drive->start};
  move_to(motion, *to, {*rate, drive->limits.acceleration, drive->limits.jerk});
  if (ramp.time > Duration{0}) stay(motion, seconds(ramp.time));
  const double length = motion.seconds();
  return Movement{{{drive->signal, std::move(motion)}}, length};
}

}  // namespace

StimulusKind ramp_stimulus() { return stimulus("ramp", ramp_fields, move_ramp); }

}  // namespace trackrod
