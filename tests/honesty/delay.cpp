// Dead time of a unit with lag and play, and of units that are not what the model says.

#include "tests/honesty/all.hpp"
#include "tests/honesty/steered.hpp"

namespace trackrod::test {
namespace {

// Steps up and down, two or more.
Drawn draw_with(Draw draw, const std::function<void(SteeredUnit&, Draw&)>& spoil) {
  auto unit = draw_unit(draw);
  spoil(unit, draw);
  const auto hand = draw_sensor(draw, 0.005), road = draw_sensor(draw, 0.002);
  const int turns = static_cast<int>(draw.even(1.0, 4.0));
  auto c = record(unit, steps(draw.even(30, 80), draw.even(0.1, 0.15), 0.8), 1.6 * turns, hand, road, draw.random());
  set_cycles(c, "move", turns, 1.6);
  const auto result = score("delay", c);
  // Friction holds the unit, which its drive pulls as a spring does, behind on either way.
  auto strata = strata_of(hand, road, 0.002);
  if (turns == 1) strata.push_back("few steps");
  if (unit.dead_time < 0.008) strata.push_back("short dead time");
  return {{{"dead_time", finding_of(result, "dead_time"), 1e3 * unit.dead_time},
           {"gain", finding_of(result, "gain"), 1.0 / unit.ratio},
           {"lost_motion", finding_of(result, "lost_motion"),
            unit.play + 2.0 * unit.friction / (unit.natural * unit.natural)}},
          {},
          strata};
}

}  // namespace

Population delays() {
  return {"delay", "steps of a unit with lag and play", Claim::interval,
          [](auto& random) { return draw_with({random}, [](SteeredUnit&, Draw&) {}); }};
}
Population delays_with_friction() {
  return {"delay", "the same, with Coulomb friction that the model does not know", Claim::stranger, [](auto& random) {
            return draw_with({random}, [](SteeredUnit& u, Draw& draw) { u.friction = draw.even(20.0, 200.0); });
          }};
}
Population delays_at_a_law() {
  return {"delay", "the same, with a ratio that bends", Claim::stranger, [](auto& random) {
            return draw_with({random}, [](SteeredUnit& u, Draw& draw) {
              const double ratio = u.ratio, bend = draw.even(2e-6, 2e-5);
              u.law = [=](double x) { return x / ratio + bend * x * x * x; };
            });
          }};
}

}  // namespace trackrod::test
