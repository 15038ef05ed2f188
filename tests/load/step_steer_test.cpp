// A step of the road wheels into the saturating range, against SciPy's integration of the same equations.

#include <cmath>
#include <cstdio>
#include <sstream>
#include <vector>

#include "harness/load/single_track.hpp"
#include "tests/catch.hpp"
#include "tests/load/van.hpp"

namespace trackrod::test {
namespace {

struct Sample {
  double time, yaw_rate, lateral_acceleration, slip, moment;
};

constexpr double interval = 0.05;
constexpr int samples = 40;

std::vector<Sample> by_scipy(const VehicleParameters& v, double angle, double speed, double grip) {
  std::ostringstream command;
  command.precision(17);
  command << "/usr/bin/python3 " TRACKROD_SOURCE_DIR "/tests/load/step_steer.py mass=" << v.mass
          << " inertia=" << v.yaw_inertia << " a=" << v.front_axle << " b=" << v.rear_axle
          << " front=" << v.front_stiffness << " rear=" << v.rear_stiffness << " friction=" << v.friction
          << " length=" << v.relaxation_length << " pneumatic=" << v.pneumatic_trail
          << " mechanical=" << v.mechanical_trail << " angle=" << angle << " speed=" << speed << " grip=" << grip;
  for (int i = 1; i <= samples; ++i) command << ' ' << i * interval;
  std::FILE* pipe = popen(command.str().c_str(), "r");
  REQUIRE(pipe);
  std::vector<Sample> all;
  for (Sample s{}; std::fscanf(pipe, "%lf %lf %lf %lf %lf", &s.time, &s.yaw_rate, &s.lateral_acceleration, &s.slip,
                               &s.moment) == 5;)
    all.push_back(s);
  REQUIRE(pclose(pipe) == 0);
  REQUIRE(all.size() == static_cast<std::size_t>(samples));
  return all;
}

std::vector<Sample> by_model(const VehicleParameters& v, double angle, double speed, double grip, double step) {
  SingleTrack track{v, step};
  std::vector<Sample> all;
  const auto steps = std::lround(interval / step);
  for (int i = 1; i <= samples; ++i) {
    for (long k = 0; k < steps; ++k) track.advance(angle, speed, grip);
    const double trail = v.pneumatic_trail * track.front_trail_share() + v.mechanical_trail;
    all.push_back({i * interval, track.yaw_rate(), track.lateral_acceleration(), track.front().slip,
                   track.front().force * trail});
  }
  return all;
}

// The greatest difference, by the greatest value.
double difference(const std::vector<Sample>& a, const std::vector<Sample>& b, double Sample::*member) {
  double greatest = 0.0, apart = 0.0;
  for (std::size_t i = 0; i < a.size(); ++i) {
    greatest = std::max(greatest, std::abs(a[i].*member));
    apart = std::max(apart, std::abs(a[i].*member - b[i].*member));
  }
  return apart / greatest;
}

TEST_CASE("a step of the road wheels agrees with SciPy, the more the shorter the tick") {
  struct Row {
    double angle, speed, grip;
  };
  const auto row = GENERATE(Row{0.01, 20.0, 1.0}, Row{0.05, 20.0, 1.0}, Row{0.08, 30.0, 1.0}, Row{0.05, 20.0, 0.4},
                            Row{-0.4, 6.0, 0.9});
  CAPTURE(row.angle, row.speed, row.grip);
  const auto v = van();
  const auto reference = by_scipy(v, row.angle, row.speed, row.grip);
  const auto slow = by_model(v, row.angle, row.speed, row.grip, 1e-3);
  const auto fast = by_model(v, row.angle, row.speed, row.grip, 0.25e-3);
  for (const auto member : {&Sample::yaw_rate, &Sample::lateral_acceleration, &Sample::slip, &Sample::moment}) {
    const double at_1_khz = difference(reference, slow, member), at_4_khz = difference(reference, fast, member);
    CHECK(at_1_khz < 0.006);
    CHECK(at_4_khz < 0.3 * at_1_khz);  // of first order: a quarter
  }
}

}  // namespace
}  // namespace trackrod::test
