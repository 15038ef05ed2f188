// noise: a random course of a stated deviation and bandwidth, the same whenever its seed is.

#include <cmath>
#include <random>

#include "harness/plan/drafting.hpp"

namespace trackrod {
namespace {

struct Noise : DriveKeys {
  Located<Quantity> deviation;
  double bandwidth{0};  // Hz
  Located<Duration> length;
  std::uint64_t seed{1};
  std::optional<Located<Quantity>> centre;
};

// Random values at even distances T, joined by 3 u^2 - 2 u^3, which is level at each. Its spectrum is that of one such
// hump over 2 T, whose power is half at 0.3566 / T; its variance is 26/35 of the values', in the mean over u.
constexpr double half_power = 0.3566;
constexpr double variance_left = 26.0 / 35.0;
constexpr double most_values = 100000;

const Fields<Noise>& noise_fields() {
  static const auto fields =
      driving(
          Fields<Noise>{"noise",
                        "A random course about the centre, from rest to rest; refused where it goes beyond the limits"})
          .need("deviation", &Noise::deviation, any_quantity(), "its standard deviation")
          .need("bandwidth", &Noise::bandwidth, quantity("Hz", 1e-3, 1000), "frequency up to which it has its power")
          .need("for", &Noise::length, located(duration(shortest_time, longest_time)), "how long it takes")
          .may("seed", &Noise::seed, integer<std::uint64_t>(1, 1000000000),
               "another one gives another course; 1 when not given")
          .may("centre", &Noise::centre, maybe(any_quantity()),
               "value about which it goes, reached first; not given: where the signal is");
  return fields;
}

// Mean 0, variance 1, within 6; the same on every machine, which the library's own distributions are not. The sum of
// twelve even ones is near enough to a normal one.
double drawn(std::mt19937_64& random) {
  double sum = -6.0;
  for (int i = 0; i < 12; ++i) sum += static_cast<double>(random() >> 11) * 0x1p-53;
  return sum;
}

std::optional<Movement> move_noise(const Noise& noise, Drafting& draft) {
  const auto drive = draft.drive(noise);
  if (!drive) return {};
  const auto deviation = draft.distance(noise.deviation, drive->signal);
  const auto centre = noise.centre ? draft.target(*noise.centre, drive->signal) : drive->start;
  if (!deviation || !centre) return {};
  const double length = seconds(noise.length.value);
  const double values = std::round(length * noise.bandwidth / half_power);
  if (values < 3 || values > most_values) {
    draft.problems().add(noise.length.at, "noise of " + shown(noise.bandwidth) + " Hz for " + shown(length) + " s",
                         "from " + shown(3 * half_power / noise.bandwidth) + " s to " +
                             shown(most_values * half_power / noise.bandwidth) + " s at this bandwidth");
    return {};
  }
  Motion motion{drive->start};
  move_to(motion, *centre, drive->limits);
  const double apart = length / values, scale = *deviation / std::sqrt(variance_left);
  std::mt19937_64 random{noise.seed};
  for (double k = 1; k <= values; ++k) {
    const double next = k < values ? *centre + scale * drawn(random) : *centre, rise = next - motion.end;
    Piece piece;
    piece.length = apart;
    piece.c0 = motion.end;
    piece.c2 = 3 * rise / (apart * apart);
    piece.c3 = -2 * rise / (apart * apart * apart);
    motion.append(piece, next);
  }
  if (!draft.keeps(motion, drive->signal, drive->limits, noise.deviation.at)) return {};
  const double whole = motion.seconds();
  return Movement{{{drive->signal, std::move(motion)}}, whole};
}

}  // namespace

StimulusKind noise_stimulus() { return stimulus("noise", noise_fields, move_noise); }

}  // namespace trackrod
