// chirp: a sine whose frequency goes from one value to another.

#include <cmath>
#include <numbers>

#include "harness/plan/drafting.hpp"

namespace trackrod {
namespace {

enum class Law : std::uint8_t { logarithmic, linear };

struct Chirp : DriveKeys {
  Located<Quantity> amplitude;
  double from{0};
  Located<double> to;
  Duration length{};
  Law law{Law::logarithmic};
  std::optional<Located<Quantity>> centre;
};

constexpr double fade_cycles = 1.0;  // of the frequency at either end

const Fields<Chirp>& chirp_fields() {
  static const auto fields =
      driving(
          Fields<Chirp>{"a chirp",
                        "A sine whose frequency goes from one value to another, from rest to rest; refused where it "
                        "goes beyond the limits"})
          .need("amplitude", &Chirp::amplitude, any_quantity(), "distance from the centre to each peak")
          .need("from", &Chirp::from, quantity("Hz", 1e-4, 1000), "frequency at its start")
          .need("to", &Chirp::to, located(quantity("Hz", 1e-4, 1000)), "frequency at its end")
          .need("for", &Chirp::length, duration(shortest_time, longest_time), "how long it takes")
          .may("law", &Chirp::law, choice<Law>({{"logarithmic", Law::logarithmic}, {"linear", Law::linear}}),
               "the frequency grows by one factor in equal times, or evenly; not given: logarithmic")
          .may("centre", &Chirp::centre, maybe(any_quantity()),
               "value about which it goes, reached first; not given: where the signal is");
  return fields;
}

std::optional<Movement> move_chirp(const Chirp& chirp, Drafting& draft) {
  const auto drive = draft.drive(chirp);
  if (!drive) return {};
  const auto amplitude = draft.distance(chirp.amplitude, drive->signal);
  const auto centre = chirp.centre ? draft.target(*chirp.centre, drive->signal) : drive->start;
  if (!amplitude || !centre) return {};
  const double length = seconds(chirp.length), from = chirp.from, to = chirp.to.value;
  const double fade_in = fade_cycles / from, fade_out = fade_cycles / to;
  if (fade_in + fade_out > length) {
    draft.problems().add(
        chirp.to.at, "a chirp of " + shown(length) + " s from " + shown(from) + " Hz to " + shown(to) + " Hz",
        "at least a cycle at either end, " + shown(fade_in + fade_out) + " s here, to grow and to shrink",
        "make \"for\" longer, or begin at a higher frequency");
    return {};
  }
  Piece piece;
  piece.c0 = *centre;
  piece.amplitude = *amplitude;
  piece.rate = 2 * std::numbers::pi * from;
  piece.length = length;
  piece.fade_in = fade_in;
  piece.fade_out = fade_out;
  if (chirp.law == Law::linear)
    piece.gain = 2 * std::numbers::pi * (to - from) / length;
  else
    piece.growth = std::log(to / from) / length;

  Motion motion{drive->start};
  move_to(motion, *centre, {*amplitude * piece.rate, drive->limits.acceleration, drive->limits.jerk});
  motion.append(piece, *centre);
  if (!draft.keeps(motion, drive->signal, drive->limits, chirp.amplitude.at)) return {};
  const double whole = motion.seconds();
  return Movement{{{drive->signal, std::move(motion)}}, whole};
}

}  // namespace

StimulusKind chirp_stimulus() { return stimulus("chirp", chirp_fields, move_chirp); }

}  // namespace trackrod
