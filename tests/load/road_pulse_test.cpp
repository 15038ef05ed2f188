// Pulses of the road at the rack.

#include "harness/load/road_pulse.hpp"

#include <cmath>
#include <limits>

#include "harness/load/rack_force.hpp"
#include "tests/catch.hpp"
#include "tests/load/van.hpp"

namespace trackrod::test {
namespace {

constexpr double tick = 1e-3;

TEST_CASE("a pulse begins when the wheel is there, is greatest at half its length and over at its end") {
  RoadPulses pulses;
  REQUIRE(pulses.add({800.0, 0.1, 0.5}));
  const double speed = 10.0;  // so that it lasts 50 ms
  for (int i = 1; i <= 200; ++i) {
    const double since = i * tick - 0.1;
    const double force = pulses.advance(tick, speed * tick);
    CAPTURE(i);
    if (since <= 0.0 || since > 0.05)
      CHECK(force == Approx(0.0).margin(1e-6));
    else
      CHECK(force == Approx(400.0 * (1.0 - std::cos(2.0 * std::acos(-1.0) * since / 0.05))).margin(1e-6));
  }
}

TEST_CASE("its impulse is half its force over the time that it lasts, which the speed makes") {
  const double speed = GENERATE(2.0, 10.0, 25.0, -10.0);
  CAPTURE(speed);
  RoadPulses pulses;
  REQUIRE(pulses.add({-600.0, 0.0, 1.0}));
  double impulse = 0.0;
  for (int i = 0; i < 2000; ++i) impulse += pulses.advance(tick, speed * tick) * tick;
  CHECK(impulse == Approx(-0.5 * 600.0 / std::abs(speed)).epsilon(1e-6));
}

TEST_CASE("a vehicle that stops on a pulse stays on it") {
  RoadPulses pulses;
  REQUIRE(pulses.add({500.0, 0.0, 1.0}));
  pulses.advance(tick, 0.5);
  for (int i = 0; i < 1000; ++i) CHECK(pulses.advance(tick, 0.0) == Approx(500.0));
  CHECK(pulses.advance(tick, 0.5) == 0.0);
}

TEST_CASE("pulses of the same time add up, as many as there are places for") {
  RoadPulses pulses;
  for (std::size_t i = 0; i < RoadPulses::capacity; ++i) CHECK(pulses.add({100.0, 0.0, 1.0}));
  CHECK_FALSE(pulses.add({100.0, 0.0, 1.0}));
  CHECK(pulses.advance(tick, 0.5) == Approx(100.0 * RoadPulses::capacity));
  CHECK(pulses.advance(tick, 0.5) == 0.0);
  CHECK(pulses.add({100.0, 0.0, 1.0}));  // there is room again
}

TEST_CASE("a pulse that cannot be is not taken") {
  RoadPulses pulses;
  const double nan = std::nan(""), endless = std::numeric_limits<double>::infinity();
  for (const auto& pulse : {RoadPulse{nan, 0.0, 1.0}, RoadPulse{1.0, nan, 1.0}, RoadPulse{1.0, 0.0, nan},
                            RoadPulse{endless, 0.0, 1.0}, RoadPulse{1.0, endless, 1.0}, RoadPulse{1.0, 0.0, endless},
                            RoadPulse{1.0, -0.1, 1.0}, RoadPulse{1.0, 0.0, 0.0}, RoadPulse{1.0, 0.0, -1.0}})
    CHECK_FALSE(pulses.add(pulse));
  CHECK(pulses.advance(tick, 0.5) == 0.0);
}

TEST_CASE("a height under the wheel is a force at the rack by the vehicle's own measure") {
  CHECK(pulse_force(van(), 0.03) == Approx(0.03 * van().pulse_force_per_height));
  CHECK(pulse_force(van(), -0.05) < 0.0);
}

}  // namespace
}  // namespace trackrod::test
