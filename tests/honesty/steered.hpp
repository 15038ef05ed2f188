#pragma once
// Sensors and units as the populations of the steering draw them: what a bench file says of them is true within what it
// says.

#include "tests/honesty/population.hpp"
#include "tests/score/known.hpp"

namespace trackrod::test {

// Delay, clock, calibration and noise fresh for each capture; half of them round their values, some lose samples.
inline Sensor draw_sensor(Draw& draw, double noise) {
  Sensor s;
  s.noise = noise * draw.even(0.5, 2.0);
  if (draw.chance(0.5)) s.resolution = s.noise * draw.even(0.2, 1.5);
  s.phase = draw.even(0.0, 0.001);
  if (draw.chance(0.5)) s.jitter = draw.even(0.0, 0.0003);
  if (draw.chance(0.3)) s.lost = draw.even(0.0, 0.03);
  s.clock_half_width = draw.even(0.0, 0.0001);
  s.clock_error = draw.even(-1.0, 1.0) * s.clock_half_width;
  s.said_delay = draw.even(0.0, 0.002);
  s.said_delay_u = draw.even(0.00002, 0.0002);
  s.delay = s.said_delay + draw.normal(s.said_delay_u);
  return s;
}

// What the sensors' drawing makes of a capture.
inline std::vector<std::string> strata_of(const Sensor& hand, const Sensor& road, double noise_of_road) {
  std::vector<std::string> out;
  if (road.resolution > road.noise || hand.resolution > hand.noise) out.push_back("coarse sensor");
  if (hand.lost + road.lost > 0.0) out.push_back("lost samples");
  if (hand.jitter + road.jitter > 0.0) out.push_back("uneven samples");
  if (road.noise > 1.5 * noise_of_road) out.push_back("much noise");
  return out;
}

inline SteeredUnit draw_unit(Draw& draw) {
  SteeredUnit u;
  u.dead_time = draw.even(0.005, 0.03);
  u.natural = draw.even(40.0, 90.0);
  u.damping = draw.even(0.6, 1.1);
  u.play = draw.even(0.03, 0.2);
  u.ratio = draw.even(8.0, 14.0);
  return u;
}

}  // namespace trackrod::test
