// triangle: to and fro about a centre at a steady rate.

#include <cmath>

#include "harness/plan/drafting.hpp"

namespace trackrod {
namespace {

struct Triangle : DriveKeys {
  Located<Quantity> amplitude, rate;
  int cycles{0};
  std::optional<Located<Quantity>> centre;
};

const Fields<Triangle>& triangle_fields() {
  static const auto fields =
      driving(Fields<Triangle>{"a triangle",
                               "Goes to and fro about a centre at a steady rate, first towards positive; starts and "
                               "ends at the centre; corners rounded where acceleration or jerk is limited"})
          .need("amplitude", &Triangle::amplitude, any_quantity(), "distance from the centre to each turning point")
          .need("rate", &Triangle::rate, any_quantity(), "rate between the turns, in the signal's unit per second")
          .need("cycles", &Triangle::cycles, integer<int>(1, 1000), "number of whole cycles")
          .may("centre", &Triangle::centre, maybe(any_quantity()),
               "value about which it goes, reached at the same rate first; not given: where the signal is");
  return fields;
}

std::optional<Movement> move_triangle(const Triangle& triangle, Drafting& draft) {
  const auto drive = draft.drive(triangle);
  if (!drive) return {};
  const auto amplitude = draft.distance(triangle.amplitude, drive->signal);
  const auto rate = draft.rate(triangle.rate, *drive);
  const auto centre = triangle.centre ? draft.target(*triangle.centre, drive->signal) : drive->start;
  if (!amplitude || !rate || !centre) return {};
  const Limits limits{*rate, drive->limits.acceleration, drive->limits.jerk};

  const double turn = turning_distance(*rate, limits);
  const double run_up = 0.5 * *rate * RateChange::within(limits, *rate).seconds();
  if (const double needed = turn + run_up; needed > *amplitude * (1 + 1e-12)) {
    const auto& unit = drive->spec->info.unit;
    draft.problems().add(
        triangle.rate.at,
        in_words(*rate, rate_unit(unit)) + " needs " + in_words(needed, unit) + " to speed up and turn",
        "at most the amplitude, " + in_words(*amplitude, unit),
        "lower the rate, raise the amplitude, or allow more acceleration and jerk");
    return {};
  }
  Motion motion{drive->start};
  move_to(motion, *centre, limits);
  Pen pen{motion};
  pen.change_rate(*rate, limits);
  for (int i = 0; i < triangle.cycles; ++i)
    for (const double side : {1.0, -1.0}) {
      pen.cruise_to(*centre + side * (*amplitude - turn));
      pen.change_rate(-side * *rate, limits);
      pen.set(*centre + side * (*amplitude - turn));  // a reversal ends where it began
    }
  pen.cruise_to(*centre - run_up);
  pen.change_rate(0, limits);
  pen.set(*centre);
  if (!draft.keeps(motion, drive->signal, drive->limits, triangle.amplitude.at)) return {};
  const double length = motion.seconds();
  return Movement{{{drive->signal, std::move(motion)}}, length};
}

}  // namespace

StimulusKind triangle_stimulus() { return stimulus("triangle", triangle_fields, move_triangle); }

}  // namespace trackrod
