// The stiffness that a bench must bear is the steepest that the model shows.

#include "harness/load/stiffness.hpp"

#include <cmath>
#include <complex>

#include "harness/load/load_model.hpp"
#include "tests/catch.hpp"
#include "tests/load/van.hpp"

namespace trackrod::test {
namespace {

// Force by way of the rack at one frequency, turned a little to and fro: the first harmonic of the third second.
double shown_stiffness(const VehicleParameters& v, double speed, double frequency) {
  constexpr double tick = 0.25e-3, amplitude = 1e-5;
  const double w = 2.0 * std::acos(-1.0) * frequency;
  LoadModel model{v, tick};
  std::complex<double> sum = 0.0;
  for (int i = 0; i < 12000; ++i) {
    const double t = i * tick;
    const double force = model.advance({amplitude * std::sin(w * t), speed, 1.0}).force;
    if (i >= 8000) sum += force * std::polar(1.0, -w * t);
  }
  return 2.0 * std::abs(sum) / 4000.0 / (amplitude * v.steering_arm);
}

TEST_CASE("no speed and no rate of turning shows more than the greatest stiffness, and some show nearly that") {
  auto v = van();
  v.scrub_stiffness = GENERATE(8e3, 1e3);  // scrub or slip is the steeper one
  const double most = greatest_stiffness(v);
  CAPTURE(v.scrub_stiffness, most);
  double greatest = 0.0;
  for (const double speed : {0.0, 0.1, 0.5, 1.0, 2.5, 5.0, 10.0, 20.0, 40.0})
    for (const double frequency : {5.0, 10.0, 20.0, 40.0}) {
      const double shown = shown_stiffness(v, speed, frequency);
      CAPTURE(speed, frequency, shown);
      CHECK(shown < 1.02 * most);  // slow enough for the vehicle to answer, its own motion adds a little
      greatest = std::max(greatest, shown);
    }
  CHECK(greatest > 0.9 * most);
}

TEST_CASE("the stiffness of a standing vehicle is that of its springs, with the scales of the bench") {
  auto v = van();
  v.front_stiffness = 1.0;
  v.angle_scale = 2.0, v.force_scale = 0.1;
  const double springs =
      (v.scrub_stiffness + v.jacking_stiffness) / (v.steering_arm * v.steering_arm) + v.rack_friction_stiffness;
  CHECK(greatest_stiffness(v) == Approx(0.2 * springs).epsilon(1e-4));
  CHECK(shown_stiffness(v, 0.0, 10.0) == Approx(0.2 * springs).epsilon(1e-3));
}

}  // namespace
}  // namespace trackrod::test
