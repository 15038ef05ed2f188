// What a unit does about a fault, a feed that drops, a speed that changes.

#include "tests/honesty/all.hpp"
#include "tests/honesty/steered.hpp"
#include "tests/score/accelerated.hpp"
#include "tests/score/faulty_unit.hpp"
#include "tests/score/fed_unit.hpp"

namespace trackrod::test {
namespace {

struct Faulty {
  FaultRecord record;
  FaultyUnit unit;
  std::vector<std::string> strata;
  ScoreResult result;
};
Faulty draw_fault(Draw draw) {
  FaultyUnit unit;
  unit.dead_time = draw.even(0.008, 0.03), unit.lag = draw.even(0.01, 0.03);
  unit.reacts_after = draw.even(0.02, 0.08), unit.warns_after = draw.even(0.01, 0.06);
  unit.fallback_gain = draw.even(0.93, 1.0), unit.fallback_delay = draw.even(0.0, 0.02);
  unit.heals_after = draw.even(0.1, 0.3);
  if (draw.chance(0.5)) unit.play = draw.even(0.02, 0.3);
  const double way = draw.even(0.0, 1.0);
  unit.code = way < 0.6 ? 4.0 : way < 0.8 ? 3.0 : 0.0;
  FaultSensors s;
  s.feed = draw_sensor(draw, 0.02), s.road = draw_sensor(draw, 0.005), s.hand = draw_sensor(draw, 0.005);
  s.warning_phase = draw.even(0.0, 0.01);
  const auto faults = fault_times(2, draw.even(1.5, 2.0), 1.5, 3.6, draw.random);
  auto r = record_faults(unit, faults, 7.6, s, 1.0, draw.random());
  const auto result = score_faults(
      r.capture, R"({"healthy": [4, 6], "tolerance": 1, "right": [4, 6], "none": [0, 2], "detected": [1, 1],
                     "fault_tolerant_time": "200 ms"})");
  auto strata = strata_of(s.hand, s.road, 0.005);
  strata.push_back(unit.play > 0.0 ? "play" : "no play");
  return {std::move(r), unit, strata, result};
}

// Times lie between samples, as does the corner of the greatest departure, and are the greatest of all faults.
Drawn draw_reaction(Draw draw) {
  const auto f = draw_fault(draw);
  const auto& reaction = f.record.truth.reaction;
  Drawn drawn;
  drawn.strata = f.strata;
  drawn.held = {{"reaction_time", finding_of(f.result, "reaction_time"),
                 1e3 * *std::max_element(reaction.begin(), reaction.end())},
                {"departure", finding_of(f.result, "departure"), f.record.truth.departure}};
  // A unit that does not warn shows no end of it.
  if (f.unit.code != 0.0)
    drawn.held.push_back({"recovery_time", finding_of(f.result, "recovery_time"), 1e3 * f.unit.heals_after});
  const auto count = [&](const char* name) { return finding_of(f.result, name).value.value_or(-1.0); };
  const std::string truth = f.unit.code == 4.0 ? "right" : f.unit.code == 3.0 ? "wrong" : "missing";
  drawn.told = {{"warning", truth,
                 count("wrong_warnings") > 0.0      ? "wrong"
                 : count("missing_warnings") > 0.0  ? "missing"
                 : count("right_warnings") == 100.0 ? "right"
                                                    : "no value"}};
  return drawn;
}
Drawn draw_what_is_left(Draw draw) {
  const auto f = draw_fault(draw);
  return {{{"gain_left", finding_of(f.result, "gain_left"), 100.0 * f.unit.fallback_gain},
           {"lag_added", finding_of(f.result, "lag_added"), 1e3 * f.unit.fallback_delay}},
          {},
          f.strata};
}

// The voltage falls from 13.5 V to `lowest` within 10 ms and is at 12.8 V another 5 ms later: below 10 V in between.
Drawn draw_feeds(Draw draw) {
  const double lowest = draw.even(7.0, 9.5);
  const double below = 15.0 - 10.0 * 3.5 / (13.5 - lowest) - 5.0 * 2.8 / (12.8 - lowest);
  const double noise = draw.even(0.002, 0.05);
  const auto result =
      score("supply", two_feeds({}, lowest, 2, draw.random(), noise), R"({"below": 10, "working": [2, 3]})",
            {{"input", SignalIndex{0}}, {"output", SignalIndex{1}}, {"feed", SignalIndex{2}}});
  return {{{"changeover_time", finding_of(result, "changeover_time"), below},
           {"changeover_dip", finding_of(result, "changeover_dip"), lowest}},
          {},
          {}};
}

Drawn draw_speed(Draw draw) {
  Accelerated unit;
  unit.held = draw.even(30.0, 90.0), unit.per_speed = draw.even(0.02, 0.12), unit.lag = draw.even(0.1, 0.3);
  const double noise = draw.even(0.001, 0.011);
  const auto r = accelerate(unit, 2, noise, draw.random());
  const auto result = score("ratio", r.capture, "{}",
                            {{"input", SignalIndex{0}}, {"output", SignalIndex{1}}, {"speed", SignalIndex{2}}});
  return {{{"speed_motion", finding_of(result, "speed_motion"), r.motion},
           {"speed_rate", finding_of(result, "speed_rate"), r.rate}},
          {},
          {noise > 0.008 ? "much noise" : "little noise"}};
}

}  // namespace

Population reactions() {
  return {"degraded", "a unit that runs away until it reacts, and warns rightly, wrongly or not", Claim::bracket,
          [](auto& random) { return draw_reaction({random}); }};
}
Population what_is_left() {
  return {"degraded", "the same, in its fallback", Claim::interval,
          [](auto& random) { return draw_what_is_left({random}); }};
}
Population changeovers() {
  return {"supply", "one feed that drops, and another that carries", Claim::bracket,
          [](auto& random) { return draw_feeds({random}); }};
}
Population speed_changes() {
  return {"ratio", "a ratio that follows the speed, with the hand held", Claim::interval,
          [](auto& random) { return draw_speed({random}); }};
}

}  // namespace trackrod::test
