// Width of the loop at three rates, and the map of the ratio.

#include "tests/honesty/all.hpp"
#include "tests/honesty/steered.hpp"

namespace trackrod::test {
namespace {

Drawn draw_loop(Draw draw, bool rubs) {
  auto unit = draw_unit(draw);
  if (rubs) unit.friction = draw.even(20.0, 200.0);
  const auto hand = draw_sensor(draw, 0.02), road = draw_sensor(draw, 0.01);
  // One sweep and a half at each rate.
  const auto motion = [&](double t) {
    return t < 7.2 ? triangle(30, 25)(t) : t < 11.7 ? triangle(30, 40)(t - 7.2 + 1.5) : triangle(30, 65)(t - 11.7);
  };
  auto c = record(unit, motion, 14.45, hand, road, draw.random());
  c.all_spans = {
      {"slow", 0, at(0), at(7.2), true}, {"mid", 0, at(7.2), at(11.7), true}, {"fast", 0, at(11.7), at(14.45), true}};
  const auto result = score("hysteresis", c);
  const double ramp_lag = unit.dead_time + 2.0 * unit.damping / unit.natural;
  auto strata = strata_of(hand, road, 0.01);
  if (unit.play < 0.06) strata.push_back("little play");
  // Friction holds the unit, which its drive pulls as a spring does, behind on either way.
  const double width = unit.play + 2.0 * unit.friction / (unit.natural * unit.natural);
  return {{{"width_corrected", finding_of(result, "width_corrected"), width},
           {"width_apparent", finding_of(result, "width_apparent"), width + 2.0 * 25.0 / unit.ratio * ramp_lag},
           {"lag", finding_of(result, "lag"), 1e3 * ramp_lag}},
          {},
          strata};
}

Drawn draw_map(Draw draw) {
  auto unit = draw_unit(draw);
  // The ratio falls from `ratio` at the centre: y = x / ratio + bend x^3.
  const double ratio = unit.ratio, bend = draw.even(2e-6, 2e-5);
  unit.law = [=](double x) { return x / ratio + bend * x * x * x; };
  const auto hand = draw_sensor(draw, 0.02), road = draw_sensor(draw, 0.01);
  const double hand_gain = 1.0 + draw.normal(0.0005), road_gain = 1.0 + draw.normal(0.0005);
  auto c = record(unit, triangle(30, 40), 6.2, hand, road, draw.random());
  for (auto& p : c.samples[0]) p.value *= hand_gain;
  for (auto& p : c.samples[1]) p.value *= road_gain;
  for (auto& info : c.infos) info.calibration.gain_uncertainty = 0.0005;
  const auto result = score("ratio", c);
  const auto over = [&](double from, double to) { return (to - from) / (unit.law(to) - unit.law(from)); };
  const double stretch = 48.0 / 9.0;  // 80 % of 60 deg
  const double last = over(24.0 - stretch, 24.0), before = over(24.0 - 2.0 * stretch, 24.0 - stretch);
  return {{{"centre", finding_of(result, "centre"), over(-0.5 * stretch, 0.5 * stretch)},
           {"least", finding_of(result, "least"), last},
           {"unevenness", finding_of(result, "unevenness"), 200.0 * std::abs((last - before) / (last + before))}},
          {},
          strata_of(hand, road, 0.01)};
}

}  // namespace

Population loops() {
  return {"hysteresis", "sweeps at three rates of a unit with lag and play", Claim::interval,
          [](auto& random) { return draw_loop({random}, false); }};
}
Population loops_with_friction() {
  return {"hysteresis", "the same, with Coulomb friction beside the play", Claim::stranger,
          [](auto& random) { return draw_loop({random}, true); }};
}
Population ratio_maps() {
  return {"ratio", "sweeps of a unit whose ratio falls with the angle", Claim::interval,
          [](auto& random) { return draw_map({random}); }};
}

}  // namespace trackrod::test
