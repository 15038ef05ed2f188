// staircase: to a value in equal rises with a halt after each.

#include "harness/plan/drafting.hpp"

namespace trackrod {
namespace {

struct Staircase : DriveKeys {
  Located<Quantity> to;
  int treads{0};
  Duration tread_time{};
  std::optional<Located<Quantity>> rise_rate;
};

const Fields<Staircase>& staircase_fields() {
  static const auto fields =
      driving(Fields<Staircase>{"a staircase", "Goes to a value in equal rises, with a halt after each"})
          .need("to", &Staircase::to, any_quantity(), "value of the last tread")
          .need("treads", &Staircase::treads, integer<int>(1, 1000), "number of rises, each followed by a halt")
          .need("tread_time", &Staircase::tread_time, duration(shortest_time, longest_time),
                "how long each tread is held")
          .may("rise_rate", &Staircase::rise_rate, maybe(any_quantity()),
               "rate of the rises, in the signal's unit per second; not given: as fast as the limits allow");
  return fields;
}

std::optional<Movement> move_staircase(const Staircase& stairs, Drafting& draft) {
  const auto drive = draft.drive(stairs);
  if (!drive) return {};
  const auto to = draft.target(stairs.to, drive->signal);
  if (!to) return {};
  auto limits = drive->limits;
  if (stairs.rise_rate) {
    const auto rate = draft.rate(*stairs.rise_rate, *drive);
    if (!rate) return {};
    limits.slew = *rate;
  }
  Motion motion{drive->start};
  for (int i = 1; i <= stairs.treads; ++i) {
    const double height = i == stairs.treads ? *to : drive->start + (*to - drive->start) * i / stairs.treads;
    move_to(motion, height, limits);
    stay(motion, seconds(stairs.tread_time));
  }
  const double length = motion.seconds();
  return Movement{{{drive->signal, std::move(motion)}}, length};
}

}  // namespace

StimulusKind staircase_stimulus() { return stimulus("staircase", staircase_fields, move_staircase); }

}  // namespace trackrod
