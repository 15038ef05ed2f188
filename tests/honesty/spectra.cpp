// Gain and delay over frequency, of a unit and of what the hand feels.

#include <map>

#include "tests/honesty/all.hpp"
#include "tests/honesty/steered.hpp"
#include "tests/score/chirped.hpp"
#include "tests/score/felt_force.hpp"

namespace trackrod::test {
namespace {

Drawn draw_chirp(Draw draw, double colour) {
  auto unit = draw_unit(draw);
  unit.play = 0.0;
  const auto hand = draw_sensor(draw, 0.02), road = draw_sensor(draw, 0.01);
  auto c = record(unit, chirp(5.0, 12.0), 13.0, hand, road, draw.random());
  c.all_spans = {{"chirp", 0, at(0.0), at(12.0), true}};
  // Noise with a memory, as an amplifier or a motor leaves it: `colour` of it stays from one sample to the next.
  double noise = 0.0;
  if (colour > 0.0)
    for (auto& p : c.samples[1])
      p.value += noise = colour * noise + draw.normal(0.02 * std::sqrt(1.0 - colour * colour));
  const auto result = score("frequency", c, R"({"frequencies": ["2 Hz", "5 Hz", "9 Hz"]})");
  Drawn drawn;
  drawn.strata = strata_of(hand, road, 0.01);
  const std::vector<double> frequencies{2.0, 5.0, 9.0};
  std::map<std::string, std::size_t> seen;  // one finding of each name for each frequency, in this order
  for (const auto& f : result.findings) {
    const auto name = f.name.substr(f.name.find('.') + 1);
    if (name != "gain" && name != "phase" && name != "group_delay") continue;
    const double hz = frequencies[seen[name]++];
    const auto truth = truth_at(unit, hz);
    double value = name == "gain" ? std::abs(truth) : 1e3 * group_delay(unit, hz);
    if (name == "phase" && f.value)  // whole turns are nobody's error
      value = *f.value - std::remainder(*f.value - std::arg(truth) * 360.0 / turn, 360.0);
    drawn.held.push_back({name + " at " + std::to_string(static_cast<int>(hz)) + " Hz", f, value});
  }
  return drawn;
}

// From the middle of the drop of the force, which is a soft step of 5 ms from 24 s on, until half of the torque is
// gone, s. Noise-free, in fine steps.
double loss_delay_of(const Feel& feel) {
  constexpr double dt = 1e-5;
  double y = 1.0;
  for (double t = 0.0;; t += dt) {
    y += dt / feel.tau * (1.0 - soft_step(t + 0.5 * dt - feel.dead_time, 0.0, 0.005, 1.0) - y);
    if (y <= 0.5) return t + dt - 0.0025;
  }
}

Drawn draw_felt(Draw draw) {
  const Feel feel{draw.even(0.004, 0.015), draw.even(0.015, 0.05), draw.even(0.002, 0.006)};
  const auto cell = draw_sensor(draw, 1.0), hand = draw_sensor(draw, 0.004);
  const auto result = score("feedback", felt(feel, cell, hand, draw.random()),
                            R"({"frequencies": ["1 Hz", "2 Hz", "5 Hz"], "drops": ["drop"]})");
  const auto slow = [&](double hz) { return std::pow(turn * hz * feel.tau, 2); };
  Drawn drawn;
  drawn.strata = strata_of(cell, hand, 0.004);
  const double frequencies[] = {1.0, 2.0, 5.0};
  std::size_t gains = 0, shares = 0;
  for (const auto& f : result.findings)
    if (f.name == "feedback.gain") {
      const double hz = frequencies[gains++];
      drawn.held.push_back(
          {"gain at " + std::to_string(static_cast<int>(hz)) + " Hz", f, feel.per_force / std::sqrt(1.0 + slow(hz))});
    } else if (f.name == "feedback.let_through" && shares++ == 2) {
      drawn.held.push_back({"let_through at 5 Hz", f, 100.0 * std::sqrt((1.0 + slow(1.0)) / (1.0 + slow(5.0)))});
    } else if (f.name == "feedback.delay") {
      drawn.held.push_back({"delay", f, 1e3 * (feel.dead_time + feel.tau / (1.0 + slow(1.0)))});
    }
  drawn.held.push_back({"loss_delay", finding_of(result, "loss_delay"), 1e3 * loss_delay_of(feel)});
  return drawn;
}

}  // namespace

Population felt_forces() {
  return {"feedback", "a torque that follows the force through a low pass", Claim::interval,
          [](auto& random) { return draw_felt({random}); }};
}
Population chirps() {
  return {"frequency", "a chirp through dead time and lag", Claim::interval,
          [](auto& random) { return draw_chirp({random}, 0.0); }};
}
Population chirps_with_coloured_noise() {
  return {"frequency", "the same, with noise that has a memory", Claim::stranger,
          [](auto& random) { return draw_chirp({random}, 0.97); }};
}

}  // namespace trackrod::test
