// sine: a whole number of cycles about a centre.

#include <numbers>

#include "harness/plan/drafting.hpp"

namespace trackrod {
namespace {

struct Sine : DriveKeys {
  Located<Quantity> amplitude;
  double frequency{0};
  int cycles{0};
  Located<double> fade_cycles;
  std::optional<Located<Quantity>> centre;
};

const Fields<Sine>& sine_fields() {
  static const auto fields =
      driving(
          Fields<Sine>{
              "a sine",
              "Whole cycles of a sine about a centre, first towards positive; refused where it goes beyond the limits"})
          .need("amplitude", &Sine::amplitude, any_quantity(), "distance from the centre to each peak")
          .need("frequency", &Sine::frequency, quantity("Hz", 1e-4, 1000), "cycles per second")
          .need("cycles", &Sine::cycles, integer<int>(1, 10000), "number of whole cycles, those of fading included")
          .may("fade_cycles", &Sine::fade_cycles, located(number(0, 5000)),
               "cycles over which the sine grows at its start and shrinks at its end; 0 starts with a jump in rate")
          .may("centre", &Sine::centre, maybe(any_quantity()),
               "value about which it goes, reached first at the sine's greatest rate; not given: where the signal is");
  return fields;
}

std::optional<Movement> move_sine(const Sine& sine, Drafting& draft) {
  const auto drive = draft.drive(sine);
  if (!drive) return {};
  const auto amplitude = draft.distance(sine.amplitude, drive->signal);
  const auto centre = sine.centre ? draft.target(*sine.centre, drive->signal) : drive->start;
  const double fade = sine.fade_cycles.value;
  if (2 * fade > sine.cycles) {
    draft.problems().add(sine.fade_cycles.at, "found " + shown(fade) + " cycles of fading at each end",
                         "at most half of the " + std::to_string(sine.cycles) + " cycles");
    return {};
  }
  if (!amplitude || !centre) return {};
  Piece piece;
  piece.c0 = *centre;
  piece.amplitude = *amplitude;
  piece.rate = 2 * std::numbers::pi * sine.frequency;
  piece.length = sine.cycles / sine.frequency;
  piece.fade_in = piece.fade_out = fade / sine.frequency;

  Motion motion{drive->start};
  move_to(motion, *centre, {*amplitude * piece.rate, drive->limits.acceleration, drive->limits.jerk});
  motion.append(piece, *centre);
  if (!draft.keeps(motion, drive->signal, drive->limits, sine.amplitude.at)) return {};
  const double length = motion.seconds();
  return Movement{{{drive->signal, std::move(motion)}}, length};
}

}  // namespace

StimulusKind sine_stimulus() { return stimulus("sine", sine_fields, move_sine); }

}  // namespace trackrod
