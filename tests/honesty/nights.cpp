// What takes hours or the bench's other devices: drift over cycles, drop-outs of the supply, samples that are missing.

#include "tests/honesty/all.hpp"
#include "tests/honesty/steered.hpp"
#include "tests/score/fed_unit.hpp"
#include "tests/score/gain_cycles.hpp"

namespace trackrod::test {
namespace {

Drawn draw_night(Draw draw) {
  const double memory = draw.chance(0.5) ? 0.0 : draw.even(0.3, 0.8);
  const auto cycles = static_cast<std::size_t>(draw.even(30.0, 90.0));
  const double per_cycle = draw.even(-5e-5, 5e-5);
  const auto c = cycles_with(gains_of(cycles, per_cycle, {0.001, memory}, draw.random()), draw.random());
  const auto result = score("drift", c, R"({"of": {"score": "polarity"}, "finding": "gain"})");
  // Of the baseline of 20 cycles.
  const double truth = 100.0 * per_cycle * static_cast<double>(cycles - 1) / (0.1 + 9.5 * per_cycle);
  return {{{"change", finding_of(result, "change"), truth}},
          {},
          {memory == 0.0 ? "without memory" : "with memory", cycles < 45 ? "short night" : "long night"}};
}

Drawn draw_drops(Draw draw) {
  Fed unit;
  unit.hold_out = draw.even(0.02, 0.07);
  unit.start_time = draw.even(0.1, 0.4);
  unit.returns = draw.chance(0.8);
  const auto c = fed(unit, drops({0.01, 0.02, 0.035, 0.05, 0.065, 0.08}), draw.random());
  const auto result = score("supply", c, R"({"below": 6.5, "working": [2, 3]})");
  Drawn drawn;
  const auto level = finding_of(result, "functional_class");
  drawn.told = {{"functional_class", unit.returns ? "3" : "4",
                 level.value ? std::to_string(static_cast<int>(*level.value)) : "no value"}};
  drawn.held = {{"ridden_through", finding_of(result, "ridden_through"), 1e3 * unit.hold_out}};
  if (unit.returns) drawn.held.push_back({"recovery_time", finding_of(result, "recovery_time"), 1e3 * unit.start_time});
  return drawn;
}

// Stretches without samples, each longer than 20 usual intervals: the count is exact.
Drawn draw_gaps(Draw draw) {
  const auto hand = draw_sensor(draw, 0.01);
  auto c = record_two(sine(20.0, 0.5), 1.0, 5.0, hand, hand, draw.random());
  const int gaps = static_cast<int>(draw.even(0.0, 6.0));
  for (int k = 0; k < gaps; ++k) {
    const double from = 0.3 + 0.8 * k + draw.even(0.0, 0.3), length = draw.even(0.0225, 0.2);
    std::erase_if(c.samples[1], [&](const Point& p) { return p.when > at(from) && p.when < at(from + length); });
  }
  Drawn drawn;
  for (const auto& f : score("bus", c, R"({"gap": 20})").findings)
    if (f.name == "bus.gaps" && f.signals == std::vector<std::string>{"road"})
      drawn.told = {{"gaps", std::to_string(gaps), f.value ? std::to_string(static_cast<int>(*f.value)) : "no value"}};
  return drawn;
}

}  // namespace

Population nights() {
  return {"drift", "a gain that grows evenly and wanders, with or without memory", Claim::interval,
          [](auto& random) { return draw_night({random}); }};
}
Population drop_outs() {
  return {"supply", "a unit that holds out for a time, and starts again or not", Claim::bracket,
          [](auto& random) { return draw_drops({random}); }};
}
Population silences() {
  return {"bus", "stretches without samples", Claim::interval, [](auto& random) { return draw_gaps({random}); }};
}

}  // namespace trackrod::test
