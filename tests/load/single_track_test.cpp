// The single-track vehicle at small angles against the textbook's closed forms (Mitschke, "Dynamik der Kraftfahrzeuge";
// Gillespie, "Fundamentals of Vehicle Dynamics", chapter 6; from memory). Each follows from
//
//   d/dt (v, r) = A (v, r) + B angle,  A = [ -(C_f + C_r)/(m u)       -u - (a C_f - b C_r)/(m u)  ]
//                                          [ -(a C_f - b C_r)/(J u)   -(a^2 C_f + b^2 C_r)/(J u)  ]

#include "harness/load/single_track.hpp"

#include <cmath>
#include <complex>

#include "tests/catch.hpp"
#include "tests/load/van.hpp"

namespace trackrod::test {
namespace {

constexpr double small = 1e-6;  // rad: the tyre is linear to 5e-6 of its force

// rad/(m/s^2): what the road wheel must turn more than L/R for each m/s^2.
double understeer_gradient(const VehicleParameters& v) {
  return v.mass / v.wheelbase() * (v.rear_axle / v.front_stiffness - v.front_axle / v.rear_stiffness);
}
VehicleParameters oversteering() {
  auto v = van();
  v.rear_stiffness = 60e3;
  return v;
}

SingleTrack driven(const VehicleParameters& vehicle, double angle, double speed, double time, double step = 1e-3) {
  SingleTrack track{vehicle, step};
  for (double t = 0.0; t < time; t += step) track.advance(angle, speed, 1.0);
  return track;
}

// Frequency (rad/s) and damping of the free motion after a twitch, from yaw rates at equal distances: of a sum of two
// exponentials, x[k + 2] = p x[k + 1] + q x[k] (Prony 1795).
struct Mode {
  double frequency, damping;
};
Mode free_motion(VehicleParameters vehicle, double speed) {
  vehicle.relaxation_length = 1e-4;  // the textbook's tyre has none
  const double step = 1e-5;
  const int apart = 8000;
  SingleTrack track{vehicle, step};
  for (int i = 0; i < 20000; ++i) track.advance(i < 10000 ? small : 0.0, speed, 1.0);
  double x[4];
  for (double& value : x) {
    value = track.yaw_rate();
    for (int i = 0; i < apart; ++i) track.advance(0.0, speed, 1.0);
  }
  const double p = (x[1] * x[2] - x[0] * x[3]) / (x[1] * x[1] - x[0] * x[2]);
  const double q = (x[1] * x[3] - x[2] * x[2]) / (x[1] * x[1] - x[0] * x[2]);
  const auto root = std::sqrt(std::complex<double>{p * p / 4.0 + q});
  const double interval = apart * step;
  const auto first = std::log(p / 2.0 + root) / interval, second = std::log(p / 2.0 - root) / interval;
  const double frequency = std::sqrt((first * second).real());
  return {frequency, -(first + second).real() / (2.0 * frequency)};
}

TEST_CASE("the steady yaw rate is u / (L + K u^2) of the road-wheel angle") {
  const double speed = GENERATE(0.5, 2.0, 5.0, 10.0, 20.0, 30.0, 45.0);
  CAPTURE(speed);
  const auto v = van();
  const double gain = speed / (v.wheelbase() + understeer_gradient(v) * speed * speed);
  const auto track = driven(v, small, speed, 20.0);
  CHECK(track.yaw_rate() / small == Approx(gain).epsilon(1e-5));
  CHECK(track.lateral_acceleration() / small == Approx(gain * speed).epsilon(1e-5));
}

TEST_CASE("the steady slips share the lateral force by the axles, and differ as the curve asks") {
  const auto v = van();
  const double speed = 25.0;
  const auto track = driven(v, small, speed, 20.0);
  const double force = v.mass * track.lateral_acceleration();
  CHECK(track.front().force == Approx(force * v.rear_axle / v.wheelbase()).epsilon(1e-5));
  CHECK(track.rear().force == Approx(force * v.front_axle / v.wheelbase()).epsilon(1e-5));
  CHECK(track.front().slip == Approx(track.front().force / v.front_stiffness).epsilon(1e-5));
  CHECK(track.front().slip - track.rear().slip ==
        Approx(small - v.wheelbase() * track.yaw_rate() / speed).epsilon(1e-5));
  // Of the centre of mass: b r / u less the rear slip.
  CHECK(track.lateral_velocity() / speed ==
        Approx(v.rear_axle * track.yaw_rate() / speed - track.rear().slip).epsilon(1e-5));
}

TEST_CASE("the angle beyond L/R grows by the understeer gradient for each m/s^2") {
  for (const auto& v : {van(), oversteering()})
    for (const double speed : {8.0, 12.0, 16.0}) {
      const auto track = driven(v, small, speed, 60.0);
      const double curvature = track.yaw_rate() / speed;
      const double beyond = small - v.wheelbase() * curvature;
      CHECK(beyond / track.lateral_acceleration() == Approx(understeer_gradient(v)).epsilon(1e-4));
    }
}

TEST_CASE("an understeering vehicle turns most at its characteristic speed, half as much as without understeer") {
  const auto v = van();
  const double characteristic = std::sqrt(v.wheelbase() / understeer_gradient(v));
  const auto gain = [&](double speed) { return driven(v, small, speed, 20.0).yaw_rate() / small; };
  const double greatest = gain(characteristic);
  CHECK(greatest == Approx(characteristic / (2.0 * v.wheelbase())).epsilon(1e-5));
  CHECK(gain(0.9 * characteristic) < greatest);
  CHECK(gain(1.1 * characteristic) < greatest);
}

TEST_CASE("an oversteering vehicle is stable below its critical speed and runs away above") {
  const auto v = oversteering();
  const double critical = std::sqrt(-v.wheelbase() / understeer_gradient(v));
  const auto after_a_twitch = [&](double speed) {
    SingleTrack track{v, 1e-3};
    for (int i = 0; i < 200; ++i) track.advance(small, speed, 1.0);
    const double before = track.yaw_rate();
    for (int i = 0; i < 40000; ++i) track.advance(0.0, speed, 1.0);
    return std::abs(track.yaw_rate() / before);
  };
  CHECK(after_a_twitch(0.95 * critical) < 0.1);
  CHECK(after_a_twitch(1.05 * critical) > 10.0);
}

TEST_CASE("a vehicle that spins is held to sideways motion of its speed and 2 m/s") {
  const double speed = 40.0;
  SingleTrack track{oversteering(), 1e-3};
  double greatest = 0.0;
  for (int i = 0; i < 60000; ++i) {
    track.advance(0.1, speed, 1.0);
    greatest = std::max(greatest, std::abs(track.lateral_velocity()));
  }
  CHECK(greatest == speed + 2.0);
}

TEST_CASE("frequency and damping of the free motion are those of the state matrix") {
  const double speed = GENERATE(10.0, 18.0, 25.0, 35.0, 45.0);
  CAPTURE(speed);
  for (const auto& v : {van(), oversteering()}) {
    const double determinant = v.front_stiffness * v.rear_stiffness * v.wheelbase() * v.wheelbase() /
                                   (v.mass * v.yaw_inertia * speed * speed) +
                               (v.rear_axle * v.rear_stiffness - v.front_axle * v.front_stiffness) / v.yaw_inertia;
    if (determinant <= 0.0) continue;  // above the critical speed there is no frequency
    const double trace =
        (v.front_stiffness + v.rear_stiffness) / (v.mass * speed) +
        (v.front_axle * v.front_axle * v.front_stiffness + v.rear_axle * v.rear_axle * v.rear_stiffness) /
            (v.yaw_inertia * speed);
    const auto mode = free_motion(v, speed);
    CHECK(mode.frequency == Approx(std::sqrt(determinant)).epsilon(2e-3));
    CHECK(mode.damping == Approx(trace / (2.0 * std::sqrt(determinant))).epsilon(2e-3));
  }
}

TEST_CASE("the relaxation length delays the first lateral force") {
  const auto v = van();
  const double speed = 20.0, delay = v.relaxation_length / speed;
  SingleTrack track{v, 1e-5};
  double t = 0.0;
  for (; t < delay / 20.0; t += 1e-5) track.advance(small, speed, 1.0);
  // First order in the way: y = angle (1 - exp(-way / length)), before the vehicle has begun to turn.
  CHECK(track.front().slip == Approx(small * (1.0 - std::exp(-t / delay))).epsilon(0.01));
}

}  // namespace
}  // namespace trackrod::test
