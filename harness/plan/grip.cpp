// grip: the road under the load model's vehicle becomes another one, at once or by and by.

#include <cmath>

#include "harness/load/load_model.hpp"
#include "harness/plan/drafting.hpp"

namespace trackrod {
namespace {

struct Grip {
  double to{1.0};
  Duration over{}, time{};
};

const Fields<Grip>& grip_fields() {
  static const auto fields =
      Fields<Grip>{"a change of grip", "Changes how well the tyres of the load model's vehicle hold, then keeps it"}
          .need("to", &Grip::to, number(0.0, LoadModel::greatest_grip), "by that of the dry road, e.g. 0.3")
          .may("over", &Grip::over, duration(shortest_time, longest_time), "time that the change takes; default none")
          .need("for", &Grip::time, duration(shortest_time, longest_time), "how long it then stays");
  return fields;
}

std::optional<Movement> move_grip(const Grip& grip, Drafting& draft) {
  const auto from = draft.grip();
  if (!from) return {};
  Motion motion{*from};
  Limits limits;
  if (grip.over > Duration{} && grip.to != *from) limits.slew = std::abs(grip.to - *from) / seconds(grip.over);
  move_to(motion, grip.to, limits);
  stay(motion, seconds(grip.time));
  Movement movement{{}, motion.seconds()};
  movement.grip = std::move(motion);
  return movement;
}

}  // namespace

StimulusKind grip_stimulus() { return stimulus("grip", grip_fields, move_grip); }

}  // namespace trackrod
