// The vehicle near standstill, where the textbook's equations divide by the speed. Slow curves are those of geometry:
// yaw rate = u tan(angle) / L.

#include <cmath>
#include <random>

#include "harness/load/single_track.hpp"
#include "tests/catch.hpp"
#include "tests/load/van.hpp"

namespace trackrod::test {
namespace {

TEST_CASE("a slow curve is that of geometry, at any speed and tick") {
  const double step = GENERATE(1e-3, 0.25e-3);
  const double speed = GENERATE(0.01, 0.03, 0.07, 0.2, 0.5, 1.0, -0.03, -0.5);
  const double angle = GENERATE(0.02, 0.5);
  CAPTURE(step, speed, angle);
  SingleTrack track{van(), step};
  const auto v = van();
  const double geometry = speed * std::tan(angle) / v.wheelbase();
  double greatest = 0.0;
  for (double way = 0.0; way < 10.0 * v.relaxation_length; way += std::abs(speed) * step) {
    track.advance(angle, speed, 1.0);
    greatest = std::max(greatest, std::abs(track.yaw_rate()));
  }
  CHECK(track.yaw_rate() == Approx(geometry).epsilon(0.005));
  CHECK(greatest < 1.4 * std::abs(geometry));  // the start is a jump: it swings on its tyres, damped
}

TEST_CASE("steering while standing moves nothing") {
  SingleTrack track{van(), 1e-3};
  for (int i = 0; i < 20000; ++i) track.advance(0.6 * std::sin(1e-3 * i), 0.0, 1.0);
  CHECK(track.yaw_rate() == 0.0);
  CHECK(track.lateral_velocity() == 0.0);
  CHECK(track.front().force == 0.0);
}

TEST_CASE("a vehicle that stops in a bend comes to rest, from any speed and on any grip") {
  const double step = GENERATE(1e-3, 0.25e-3);
  const double speed = GENERATE(0.02, 0.07, 0.5, 3.0, 20.0);
  const double grip = GENERATE(0.2, 1.0);
  CAPTURE(step, speed, grip);
  SingleTrack track{van(), step};
  for (double t = 0.0; t < 5.0; t += step) track.advance(0.05, speed, grip);
  REQUIRE(std::abs(track.yaw_rate()) > 0.0);
  for (double t = 0.0; t < 10.0; t += step) track.advance(0.05, 0.0, grip);
  CHECK(std::abs(track.yaw_rate()) < 1e-6);
  CHECK(std::abs(track.lateral_velocity()) < 1e-6);
}

TEST_CASE("a light vehicle on stiff tyres comes to rest as well, and does not ring from tick to tick") {
  auto v = van();
  v.mass = 400.0, v.yaw_inertia = 700.0;
  v.front_stiffness = v.rear_stiffness = 1e6;
  v.relaxation_length = 0.02;
  SingleTrack track{v, 1e-3};
  for (int i = 0; i < 2000; ++i) track.advance(0.001, 10.0, 1.0);
  double before = track.yaw_rate();
  int turns = 0;
  for (int i = 0; i < 6000; ++i) {
    track.advance(0.001, 0.0, 1.0);
    turns += track.yaw_rate() * before < 0.0 ? 1 : 0;
    before = track.yaw_rate();
  }
  CHECK(turns <= 1);  // the rubber damps more than critically
  CHECK(std::abs(before) < 1e-6);
}

// Motion, and what the standing tyres' springs hold: relaxation length x the integral of the force over the slip.
double energy(const SingleTrack& track, const VehicleParameters& v) {
  double sum = 0.5 * v.mass * track.lateral_velocity() * track.lateral_velocity() +
               0.5 * v.yaw_inertia * track.yaw_rate() * track.yaw_rate();
  const double stiffness[] = {v.front_stiffness, v.rear_stiffness};
  const double slips[] = {track.front().slip, track.rear().slip};
  for (std::size_t i = 0; i < 2; ++i) sum += 0.5 * v.relaxation_length * stiffness[i] * slips[i] * slips[i];
  return sum;
}

TEST_CASE("a vehicle left alone makes no energy: standing on its tyres, what it has runs out") {
  const double step = GENERATE(1e-3, 0.25e-3);
  CAPTURE(step);
  const auto v = van();
  SingleTrack track{v, step};
  for (double t = 0.0; t < 2.0; t += step) track.advance(0.001, 10.0, 1.0);
  for (double t = 0.0; t < 0.1; t += step) track.advance(0.0, 0.0, 1.0);  // the tyres change from rolling to standing
  double before = energy(track, v);
  REQUIRE(before > 0.0);
  const double first = before;
  // What damps adds to the slip that the force sees, so that single steps are told by swings of half a second.
  for (int swing = 0; swing < 20; ++swing) {
    for (double t = 0.0; t < 0.5; t += step) track.advance(0.0, 0.0, 1.0);
    const double now = energy(track, v);
    CHECK(now < before);
    before = now;
  }
  CHECK(before < 1e-6 * first);
}

TEST_CASE("driven anyhow through standstill, the motion stays one that a vehicle can have") {
  const std::uint64_t seed = std::random_device{}();
  const double step = GENERATE(1e-3, 0.25e-3);
  CAPTURE(seed, step);
  std::mt19937_64 random{seed};
  std::uniform_real_distribution<double> angle{-0.6, 0.6}, speed{-2.0, 2.0}, grip{0.0, 1.2}, time{0.01, 1.0};
  const auto v = van();
  SingleTrack track{v, step};
  for (int turn = 0; turn < 400; ++turn) {
    const double d = angle(random), u = speed(random) * (turn % 4 == 0 ? 0.01 : 1.0), g = grip(random);
    for (double left = time(random); left > 0.0; left -= step) {
      track.advance(d, u, g);
      REQUIRE(std::isfinite(track.yaw_rate()));
      REQUIRE(std::abs(track.lateral_acceleration()) <= 1.2 * v.friction * 9.80665 * 1.0001);
    }
    CHECK(std::abs(track.yaw_rate()) < 6.0);
  }
}

}  // namespace
}  // namespace trackrod::test
