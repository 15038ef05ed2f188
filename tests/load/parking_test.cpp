// The torque that turns against the wheels of a vehicle that stands or crawls.

#include "harness/load/parking.hpp"

#include <cmath>
#include <functional>
#include <random>

#include "tests/catch.hpp"
#include "tests/load/van.hpp"

namespace trackrod::test {
namespace {

// Work that the wheels take out of whoever turns them along `angle` from the first to the last step, in Nm rad.
double work(Parking& parking, int steps, const std::function<double(int)>& angle) {
  double sum = 0.0, before = parking.scrub(0.0, 0.0, 1.0) + parking.jacking(angle(0));
  for (int i = 1; i <= steps; ++i) {
    const double turned = angle(i) - angle(i - 1);
    const double torque = parking.scrub(turned, 0.0, 1.0) + parking.jacking(angle(i));
    sum -= 0.5 * (before + torque) * turned;
    before = torque;
  }
  return sum;
}

TEST_CASE("at first the tyres give like a spring, then they slide") {
  const auto v = van();
  Parking parking{v};
  const double breakaway = v.scrub_torque / v.scrub_stiffness;
  CHECK(parking.scrub(0.5 * breakaway, 0.0, 1.0) == Approx(-0.5 * v.scrub_torque));
  CHECK(parking.scrub(0.5 * breakaway, 0.0, 1.0) == Approx(-v.scrub_torque));
  CHECK(parking.scrub(0.3, 0.0, 1.0) == -v.scrub_torque);
  CHECK(parking.scrub(-breakaway, 0.0, 1.0) == Approx(0.0).margin(1e-9));  // back through its give
  CHECK(parking.scrub(-0.3, 0.0, 1.0) == v.scrub_torque);
}

// A stop operator's loop is a parallelogram (Prandtl 1928; from memory).
TEST_CASE("a loop of half-width A takes 4 M (A - M/k), at any rate and of any shape in time") {
  const auto v = van();
  const double amplitude = GENERATE(0.06, 0.2, 0.5);
  const int steps = 1000 * GENERATE(1, 4, 25);
  CAPTURE(amplitude, steps);
  const double pi = std::acos(-1.0);
  Parking parking{v};
  const auto sine = [&](int i) { return amplitude * std::sin(2.0 * pi * i / steps); };
  work(parking, steps, sine);  // the first begins at no torque
  const double expected = 4.0 * v.scrub_torque * (amplitude - v.scrub_torque / v.scrub_stiffness);
  CHECK(work(parking, steps, sine) == Approx(expected).epsilon(0.001));
  const auto triangle = [&](int i) { return amplitude * 2.0 / pi * std::asin(std::sin(2.0 * pi * i / steps)); };
  work(parking, steps, triangle);
  CHECK(work(parking, steps, triangle) == Approx(expected).epsilon(0.001));
}

TEST_CASE("within the give of the tyres a loop takes nothing") {
  const auto v = van();
  const double amplitude = 0.9 * v.scrub_torque / v.scrub_stiffness, pi = std::acos(-1.0);
  Parking parking{v};
  const auto sine = [&](int i) { return amplitude * std::sin(2.0 * pi * i / 10000); };
  CHECK(work(parking, 10000, sine) == Approx(0.0).margin(1e-9));
}

TEST_CASE("the weight centres the wheels and gives back what it took") {
  auto v = van();
  Parking parking{v};
  CHECK(parking.jacking(0.2) == Approx(-0.2 * v.jacking_stiffness));
  CHECK(parking.jacking(-0.2) == Approx(0.2 * v.jacking_stiffness));
  v.scrub_torque = 0.0;
  Parking weight_alone{v};
  const double pi = std::acos(-1.0);
  const auto sine = [&](int i) { return 0.5 * std::sin(2.0 * pi * i / 10000); };
  CHECK(work(weight_alone, 10000, sine) == Approx(0.0).margin(1e-9));
}

TEST_CASE("no way of turning the wheels takes work out of them: what they give back, they were given") {
  const std::uint64_t seed = std::random_device{}();
  const double rolled = GENERATE(0.0, 1e-5, 1e-3, 0.03);  // m a step: at 1 kHz 0, 0.01, 1 and 30 m/s
  CAPTURE(seed, rolled);
  std::mt19937_64 random{seed};
  std::normal_distribution<double> step{0.0, 0.01};
  Parking parking{van()};
  double angle = 0.0, taken = 0.0;
  for (int i = 0; i < 100000; ++i) {
    const double turned = std::clamp(angle + step(random), -0.6, 0.6) - angle;
    angle += turned;
    // The torque at the end of each step, as in the model itself. On a bench it comes a tick and more too late.
    taken -= (parking.scrub(turned, rolled, 1.0) + parking.jacking(angle)) * turned;
    REQUIRE(taken > -1e-9);
  }
}

TEST_CASE("less grip scrubs less") {
  const auto v = van();
  Parking parking{v};
  parking.scrub(0.4, 0.0, 1.0);
  CHECK(parking.scrub(0.0, 0.0, 0.3) == Approx(-0.3 * v.scrub_torque));
  CHECK(parking.scrub(0.1, 0.0, 0.0) == 0.0);
}

TEST_CASE("rolling lets the twist go over the relaxation length") {
  const auto v = van();
  Parking parking{v};
  parking.scrub(0.4, 0.0, 1.0);
  double torque = 0.0;
  for (double way = 0.0; way < v.relaxation_length; way += 1e-5) torque = parking.scrub(0.0, 1e-5, 1.0);
  CHECK(torque == Approx(-v.scrub_torque * std::exp(-1.0)).epsilon(1e-3));
}

TEST_CASE("at speed the scrub of a moving wheel fades as one over the speed, either way") {
  const auto v = van();
  const double speed = GENERATE(2.0, 10.0, 30.0, -10.0), rate = 0.05, tick = 1e-3;
  CAPTURE(speed);
  Parking parking{v};
  double torque = 0.0;
  for (int i = 0; i < 4000; ++i) torque = parking.scrub(rate * tick, speed * tick, 1.0);
  // The steady twist is what turns in the time that a relaxation length takes.
  CHECK(
      torque ==
      Approx(-v.scrub_stiffness * rate * v.relaxation_length / std::abs(speed)).epsilon(std::abs(speed) * tick / 0.1));
}

}  // namespace
}  // namespace trackrod::test
