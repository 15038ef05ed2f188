// What the unit does at its ends and limits: play of a joint, end stops, the greatest rate, coming to rest.

#include "tests/honesty/all.hpp"
#include "tests/honesty/steered.hpp"
#include "tests/score/follower.hpp"
#include "tests/score/joint.hpp"
#include "tests/score/stops.hpp"

namespace trackrod::test {
namespace {

Drawn draw_joint(Draw draw, double curve) {
  Joint joint;
  joint.gap = draw.even(0.0, 0.2);
  joint.compliance = draw.even(2e-4, 1.2e-3);
  joint.friction = draw.even(10.0, 60.0);
  joint.curve = curve;
  const double noise = draw.even(0.002, 0.012);
  auto c = loaded(joint, draw.random(), 1500.0, 1500.0, noise);
  const double gain = 1.0 + draw.normal(0.002);
  for (auto& p : c.samples[1]) p.value *= gain;
  c.infos[1].calibration.gain_uncertainty = 0.002;
  const auto result = score("play", c);
  Drawn drawn{{{"gap", finding_of(result, "gap"), joint.gap}}, {}, {}};
  if (curve == 0.0) drawn.held.push_back({"compliance", finding_of(result, "compliance"), joint.compliance});
  if (joint.gap < 0.02) drawn.strata.push_back("hardly a gap");
  if (noise > 0.01) drawn.strata.push_back("much noise");
  return drawn;
}

Drawn draw_stop(Draw draw) {
  Stop stop;
  stop.positive = draw.even(150.0, 170.0), stop.negative = -draw.even(150.0, 170.0);
  stop.stiffness = draw.even(1.0, 5.0);
  stop.friction = draw.even(0.2, 0.7);
  stop.damping = draw.even(0.0, 0.02);
  Drive drive;
  drive.beyond = draw.even(2.0, 4.0);
  drive.hold = 0.0;
  const bool several = draw.chance(0.5);
  if (several)
    drive.rates = {5.0, 10.0, 20.0};
  else
    drive.rates = {10.0, 10.0};
  Errors errors;
  errors.angle_noise = draw.even(0.002, 0.012), errors.torque_noise = draw.even(0.005, 0.025);
  errors.zero = draw.normal(0.01), errors.torque_gain = 1.0 + draw.normal(0.002);
  auto c = pushed(stop, drive, draw.random(), errors);
  c.infos[0].calibration.standard_uncertainty = 0.01;
  c.infos[1].calibration.gain_uncertainty = 0.002;
  const auto result = score("end_stop", c);
  const double early = several ? 0.0 : 10.0 * stop.damping / stop.stiffness;
  return {
      {{several ? "angle, no rate" : "angle, one rate", finding_of(result, "angle_positive"), stop.positive - early},
       {"stiffness", finding_of(result, "stiffness_negative"), stop.stiffness},
       {"centre", finding_of(result, "centre"), 0.5 * (stop.positive + stop.negative)}},
      {},
      {stop.stiffness < 2.0 ? "soft stop" : "stiff stop"}};
}

Drawn draw_limit(Draw draw) {
  const Follower unit{draw.even(20.0, 40.0), draw.even(8.0, 12.0), draw.even(0.0, 0.02)};
  const double noise = draw.even(0.002, 0.012);
  auto c = swept(unit, {100, 800}, draw.random(), 60.0, noise);
  const double gain = 1.0 + draw.normal(0.001);
  for (auto& p : c.samples[1]) p.value *= gain;
  c.infos[1].calibration.gain_uncertainty = 0.001;
  return {{{"rate_limit", finding_of(score("following", c), "rate_limit"), unit.limit}},
          {},
          {noise > 0.01 ? "much noise" : "little noise"}};
}

// A hand that turns at an even rate R and stops leaves a first-order unit (dead time L, time constant tau, ratio i)
// behind by R (L + tau) / i, less what had not yet settled, which it then goes; and by R (L + tau) / i at the centre.
Drawn draw_rest(Draw draw) {
  constexpr double rate = 100.0, size = 40.0, ratio = 10.0, band = 0.02;
  SteeredUnit unit;
  unit.first_order = true;
  unit.dead_time = draw.even(0.005, 0.025);
  const double tau = draw.even(0.01, 0.04);
  unit.natural = 1.0 / tau;
  unit.ratio = ratio;
  const auto turned = [=](double t) { return std::clamp(rate * (t - 0.3), 0.0, size); };
  const auto hand = draw_sensor(draw, 0.004), road = draw_sensor(draw, 0.0015);
  const auto result = score("run_on", record(unit, turned, 1.5, hand, road, draw.random()));
  const auto sweep = score("run_on", record(unit, triangle(30.0, 40.0), 3.5, hand, road, draw.random()));
  // The hand enters its band before it stops. Its own course is what a unit without lag would do.
  const double before = band * size / rate;
  const double unsettled = std::exp(-(size / rate - before - unit.dead_time) / tau);
  return {{{"angle", finding_of(result, "angle"), rate / ratio * (unit.dead_time + before + tau * (1.0 - unsettled))},
           {"centre_angle", finding_of(sweep, "centre_angle"), 40.0 / ratio * (unit.dead_time + tau)}},
          {},
          strata_of(hand, road, 0.0015)};
}

}  // namespace

Population joints() {
  return {"play", "a joint between stiff flanks, with friction in the gap", Claim::interval,
          [](auto& random) { return draw_joint({random}, 0.0); }};
}
Population bent_joints() {
  return {"play", "the same, with flanks that stiffen", Claim::stranger,
          [](auto& random) { return draw_joint({random}, 1e-7); }};
}
Population end_stops() {
  return {"end_stop", "stops that damp, at one rate or three", Claim::interval,
          [](auto& random) { return draw_stop({random}); }};
}
Population rate_limits() {
  return {"following", "an output with a greatest rate", Claim::interval,
          [](auto& random) { return draw_limit({random}); }};
}
Population comings_to_rest() {
  return {"run_on", "a first-order unit when the hand stops", Claim::interval,
          [](auto& random) { return draw_rest({random}); }};
}

}  // namespace trackrod::test
