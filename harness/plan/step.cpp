// step: as fast as the limits allow to a value, and held there.

#include "harness/plan/drafting.hpp"

namespace trackrod {
namespace {

struct Step : DriveKeys {
  Located<Quantity> to;
  Duration time{};
};

const Fields<Step>& step_fields() {
  static const auto fields =
      driving(Fields<Step>{"a step", "Goes to a value as fast as the limits allow, and holds it"})
          .need("to", &Step::to, any_quantity(), "value to go to")
          .need("for", &Step::time, duration(shortest_time, longest_time),
                "how long the value is held once it is reached");
  return fields;
}

std::optional<Movement> move_step(const Step& step, Drafting& draft) {
  const auto drive = draft.drive(step);
  if (!drive) return {};
  const auto to = draft.target(step.to, drive->signal);
  if (!to) return {};
  Motion motion{drive->start};
  move_to(motion, *to, drive->limits);
  stay(motion, seconds(step.time));
  const double length = motion.seconds();
  return Movement{{{drive->signal, std::move(motion)}}, length};
}

}  // namespace

StimulusKind step_stimulus() { return stimulus("step", step_fields, move_step); }

}  // namespace trackrod
