// Times and overshoot of steps. Truth: what they are in the noise-free answer to the noise-free input.

#include "tests/honesty/all.hpp"
#include "tests/honesty/steered.hpp"

namespace trackrod::test {
namespace {

// When the noise-free answer to a step at 0.3 s goes through a share of its change, s; and how far it goes beyond, %.
struct Answer {
  std::vector<double> y;
  double change;
  double level(double share) const { return y[0] + share * change; }
  double time(double share) const {
    std::size_t k = 1;
    while ((y[k] - level(share)) * (y[0] - level(share)) > 0.0) ++k;
    const double part = (level(share) - y[k - 1]) / (y[k] - y[k - 1]);
    return 25e-6 * (static_cast<double>(k - 1) + part) - 1.0;
  }
  double overshoot() const {
    double most = 0.0;
    for (const double v : y) most = std::max(most, (v - level(1.0)) / change);
    return 100.0 * most;
  }
};

// Times, and overshoot where there is some. `rise`: of the input, s.
Drawn draw_step(Draw draw, double rise) {
  auto unit = draw_unit(draw);
  unit.play = 0.0;
  const bool overshoots = draw.chance(0.5);
  unit.damping = overshoots ? draw.even(0.4, 0.65) : draw.even(0.65, 1.1);
  const auto hand = draw_sensor(draw, 0.02), road = draw_sensor(draw, 0.01);
  const double size = draw.even(30, 80);
  const int turns = static_cast<int>(draw.even(3.0, 7.0));
  const auto motion = steps(size, rise, 0.8);
  auto c = record(unit, motion, 0.8 * turns, hand, road, draw.random());
  set_cycles(c, "move", turns, 0.8);
  const auto result = score("step", c);
  const Answer answer{simulate(unit, motion, 0.8), size / unit.ratio};
  const double middle = 0.3 + 0.5 * rise;
  auto strata = strata_of(hand, road, 0.01);
  if (turns == 3) strata.push_back("few steps");
  Drawn drawn{{{"delay_10", finding_of(result, "delay_10"), 1e3 * (answer.time(0.1) - middle)},
               {"delay_50", finding_of(result, "delay_50"), 1e3 * (answer.time(0.5) - middle)},
               {"delay_90", finding_of(result, "delay_90"), 1e3 * (answer.time(0.9) - middle)}},
              {},
              strata};
  if (overshoots) drawn.held.push_back({"overshoot", finding_of(result, "overshoot"), answer.overshoot()});
  // Of an input that takes its time the score does not say it.
  if (rise < 0.01)
    drawn.held.push_back({"rise_time", finding_of(result, "rise_time"), 1e3 * (answer.time(0.9) - answer.time(0.1))});
  return drawn;
}

// None, or so little that noise may hide it: the interval reaches down to nothing, and its upper end is a bound.
Drawn draw_hardly_any(Draw draw) {
  auto unit = draw_unit(draw);
  unit.play = 0.0;
  unit.damping = draw.even(0.85, 1.2);
  const auto hand = draw_sensor(draw, 0.02), road = draw_sensor(draw, 0.01);
  const double size = draw.even(30, 80);
  const auto motion = steps(size, draw.even(0.02, 0.1), 0.8);
  auto c = record(unit, motion, 3.2, hand, road, draw.random());
  set_cycles(c, "move", 4, 0.8);
  const Answer answer{simulate(unit, motion, 0.8), size / unit.ratio};
  return {{{"overshoot, hardly any", finding_of(score("step", c), "overshoot"), answer.overshoot()}},
          {},
          strata_of(hand, road, 0.01)};
}

}  // namespace

Population step_answers() {
  return {"step", "steps of a unit with lag", Claim::interval,
          [](auto& random) { return draw_step({random}, Draw{random}.even(0.02, 0.1)); }};
}
Population fast_step_answers() {
  return {"step", "the same, with an input that jumps", Claim::interval,
          [](auto& random) { return draw_step({random}, Draw{random}.even(0.003, 0.006)); }};
}
Population well_damped_step_answers() {
  return {"step", "steps of a unit that hardly overshoots", Claim::bracket,
          [](auto& random) { return draw_hardly_any({random}); }};
}

}  // namespace trackrod::test
