// Two sensors of one motion: how much later one of them shows it, and which way it counts.

#include "tests/honesty/all.hpp"
#include "tests/honesty/steered.hpp"

namespace trackrod::test {
namespace {

Drawn draw_skew(Draw draw) {
  auto hand = draw_sensor(draw, 0.005), road = draw_sensor(draw, 0.005);
  road.delay = draw.even(-0.02, 0.02);
  if (draw.chance(0.5)) road.interval = 0.002;
  const double gain = draw.even(0.2, 1.5);
  auto c = record_two(steps(draw.even(30, 80), draw.even(0.1, 0.15), 0.8), gain, 3.2, hand, road, draw.random());
  set_cycles(c, "move", 2, 1.6);
  const auto result = score("skew", c);
  return {{{"skew", finding_of(result, "skew"), 1e3 * (road.delay - hand.delay)},
           {"gain", finding_of(result, "gain"), gain}},
          {},
          strata_of(hand, road, 0.005)};
}

// Some outputs go the other way, some do not follow at all.
Drawn draw_way(Draw draw) {
  const auto hand = draw_sensor(draw, 0.05), road = draw_sensor(draw, 0.02);
  auto unit = draw_unit(draw);
  unit.play = 0.0;
  const double way = std::floor(draw.even(-1.0, 2.0));
  unit.ratio *= way < 0.0 ? -1.0 : 1.0;
  if (way == 0.0) unit.law = [](double) { return 0.0; };
  const double gain = 1.0 + draw.normal(0.001);
  auto c = record(
      unit, [size = draw.even(2.0, 20.0)](double t) { return soft_step(t, 0.5, 0.2, size); }, 1.5, hand, road,
      draw.random());
  for (auto& p : c.samples[1]) p.value *= gain;
  c.infos[1].calibration.gain_uncertainty = 0.001;
  const auto result = score("polarity", c);
  const auto direction = finding_of(result, "direction");
  const auto in_words = [](double d) { return std::string{d > 0.0 ? "follows" : d < 0.0 ? "other way" : "does not"}; };
  Drawn drawn;
  drawn.told = {{"direction", in_words(way), direction.value ? in_words(*direction.value) : "no value"}};
  if (way != 0.0) drawn.held = {{"gain", finding_of(result, "gain"), 1.0 / unit.ratio}};
  drawn.strata = strata_of(hand, road, 0.02);
  return drawn;
}

}  // namespace

Population skews() {
  return {"skew", "two sensors of one motion", Claim::interval, [](auto& random) { return draw_skew({random}); }};
}
Population ways() {
  return {"polarity", "outputs that follow, go the other way, or do not move", Claim::interval,
          [](auto& random) { return draw_way({random}); }};
}

}  // namespace trackrod::test
