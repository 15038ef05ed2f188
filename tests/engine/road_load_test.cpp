// The load model in the loop: what it drives, how it comes and goes, and what ends it.

#include "tests/engine/road_rig.hpp"

using namespace trackrod;
using namespace trackrod::test;
using namespace std::chrono_literals;

namespace {

constexpr double pi = 3.14159265358979;
constexpr char eight_seconds[] = R"([{"do": "road", "steps": [{"do": "hold", "name": "bend", "for": "8 s"}]}])";

VehicleParameters tyres_alone() {
  auto v = van();
  v.scrub_torque = v.jacking_stiffness = v.rack_friction = 0.0;
  return v;
}

// Steps as the engine counts them: in 0 the load comes in.
constexpr std::size_t first = 1;

}  // namespace

// Steady yaw rate by angle u / (L + K u^2) with K = m / L (b / C_f - a / C_r) (Mitschke, "Dynamik der Kraftfahrzeuge";
// Gillespie, "Fundamentals of Vehicle Dynamics", chapter 6; from memory). At small slip the force at the rack is the
// front's share of the lateral force, by both trails over the arm.
TEST_CASE("held at an angle, the bench is sent the yaw rate, acceleration and force of the closed forms") {
  const double speed = GENERATE(30.0, 72.0, 110.0);
  CAPTURE(speed);
  const double angle = 0.002, u = speed / 3.6;
  RoadRig rig;
  const auto v = rig.bench.load->vehicle = tyres_alone();
  rig.device.angle = [&](BenchTime) { return angle; };
  rig.run(std::to_string(speed) + " km/h", eight_seconds);
  CHECK_FALSE(rig.outcome.tripped);
  const double understeer =
      v.mass / v.wheelbase() * (v.rear_axle / v.front_stiffness - v.front_axle / v.rear_stiffness);
  const double yaw_rate = angle * u / (v.wheelbase() + understeer * u * u);  // deg/s
  const double sideways = u * yaw_rate * pi / 180.0;
  const double front = v.mass * sideways * v.rear_axle / v.wheelbase();
  const double force = -front * (v.pneumatic_trail + v.mechanical_trail) / v.steering_arm;
  const auto end = rig.began(first) + 8s;
  CHECK(rig.sent(yaw_cmd, end) == Approx(yaw_rate).epsilon(2e-3));
  CHECK(rig.sent(sideways_cmd, end) == Approx(sideways).epsilon(2e-3));
  CHECK(rig.sent(force_cmd, end) == Approx(force).epsilon(3e-3));
}

TEST_CASE("the load comes in and goes without a jump, and is exactly nothing before and after") {
  RoadRig rig;
  rig.device.angle = [](BenchTime) { return 2.0; };
  rig.run("72 km/h", R"([{"do": "hold", "for": "100 ms"},
    {"do": "road", "steps": [{"do": "hold", "for": "3 s"}]}, {"do": "hold", "for": "100 ms"}])");
  const double whole = rig.sent(force_cmd, rig.began(2) + 3s);
  CHECK(whole < -300.0);
  CHECK(rig.sent(force_cmd, rig.began(1) - 1ms) == 0.0);
  CHECK(std::abs(rig.sent(force_cmd, rig.began(1) + 50ms)) < 0.2 * std::abs(whole));
  CHECK(rig.sent(force_cmd, rig.began(3) + 250ms) == Approx(0.5 * whole).epsilon(0.02));
  for (const auto& s : rig.records.samples[force_cmd])
    if (s.when >= rig.began(4)) CHECK(s.value == 0.0);
  CHECK(rig.greatest_change(force_cmd) < 2.0 * std::abs(whole) / 500.0);
}

TEST_CASE("a stale angle lets the load run to zero and never holds it; a fresh one lets it in again") {
  RoadRig rig;
  rig.device.angle = [](BenchTime) { return 2.0; };
  BenchTime gone{}, back{};
  rig.device.shows = [&](BenchTime now) {
    if (rig.records.of(EventKind::step_started).size() <= first) return true;
    gone = rig.began(first) + 2s, back = gone + 2s;
    return now < gone || now >= back;
  };
  rig.run("72 km/h", eight_seconds);
  CHECK_FALSE(rig.outcome.tripped);
  const double whole = rig.sent(force_cmd, gone);
  REQUIRE(whole < -300.0);
  CHECK(rig.sent(force_cmd, gone + 9ms) == Approx(whole).epsilon(1e-3));  // not stale yet: 10 ms
  CHECK(rig.sent(force_cmd, gone + 10ms + 250ms) == Approx(0.5 * whole).epsilon(0.02));
  for (const auto& s : rig.records.samples[force_cmd])
    if (s.when > gone + 515ms && s.when < back) CHECK(s.value == 0.0);
  CHECK(rig.sent(force_cmd, rig.began(first) + 7s) == Approx(whole).epsilon(0.02));
  CHECK(rig.greatest_change(force_cmd) < 2.0 * std::abs(whole) / 500.0);
}

TEST_CASE("an angle that is not a number trips the bench, and the load is taken off") {
  RoadRig rig;
  rig.device.angle = [&](BenchTime now) {
    const bool bad = rig.records.of(EventKind::step_started).size() > first && now >= rig.began(first) + 1s;
    return bad ? std::numeric_limits<double>::quiet_NaN() : 2.0;
  };
  rig.run("72 km/h", eight_seconds);
  CHECK(rig.outcome.tripped);
  CHECK(rig.outcome.trip == TripCause::not_finite);
  const auto trips = rig.records.of(EventKind::tripped);
  REQUIRE(trips.size() == 1);
  CHECK(trips[0].b == road_angle);
  CHECK(rig.sent(force_cmd, trips[0].when) == 0.0);
}

TEST_CASE("stopped by the operator, the bench takes the load off") {
  RoadRig rig;
  rig.device.angle = [](BenchTime) { return 2.0; };
  rig.minder.stop_at = zero + 4s;
  rig.run("72 km/h", eight_seconds);
  CHECK(rig.sent(force_cmd, zero + 3999ms) < -300.0);
  CHECK(rig.sent(force_cmd, zero + 4s + 150ms) == 0.0);
  CHECK(rig.records.samples[force_cmd].back().value == 0.0);
}

TEST_CASE("a loss of grip in a bend makes the rack light, at the instant that the plan gives") {
  RoadRig rig;
  rig.device.angle = [](BenchTime) { return 2.5; };
  rig.run("58 km/h",
          R"([{"do": "road", "steps": [{"do": "hold", "for": "3 s"}, {"do": "grip", "to": 0.25, "for": "1 s"}]}])");
  const auto lost = rig.began(2);
  const double dry = rig.sent(force_cmd, lost), ice = rig.sent(force_cmd, lost + 300ms);
  CHECK(rig.sent(force_cmd, lost - 1ms) == Approx(dry).epsilon(1e-3));
  CHECK(ice / dry > 0.0);
  CHECK(ice / dry < 0.6);
  // What holds the vehicle is no more than the grip: mu g m over m.
  const double most = 0.25 * van().friction * 9.80665;
  CHECK(rig.sent(sideways_cmd, lost + 300ms) < 1.001 * most);
  CHECK(rig.sent(sideways_cmd, lost + 300ms) > 0.9 * most);
}

TEST_CASE("a pulse of the road comes on top, as long as the speed makes it, at the instant that the plan gives") {
  RoadRig rig;
  rig.run("36 km/h", R"([{"do": "road", "steps": [{"do": "parallel", "tracks": [[{"do": "hold", "for": "1 s"}],
    [{"do": "hold", "for": "400 ms"}, {"do": "pulse", "force": "700 N", "length": "0.5 m", "for": "100 ms"}]]}]}])");
  const auto laid = rig.began(first) + 400ms;  // 0.5 m at 10 m/s: 50 ms
  CHECK(rig.sent(force_cmd, laid) == Approx(0.0).margin(1e-6));
  CHECK(rig.sent(force_cmd, laid + 25ms) == Approx(700.0).epsilon(0.01));
  CHECK(rig.sent(force_cmd, laid + 52ms) == Approx(0.0).margin(1e-6));
}

// The work of a spring k that is late by T, on a rack that goes x sin(w t): pi k x^2 sin(w T) a cycle, by
// integration of F dx.
TEST_CASE("a load that is late gives the rack energy at every turn, and trips; one in time gives back what it got") {
  RoadRig rig;
  rig.device.angle = [](BenchTime now) { return 3.0 * std::sin(2.0 * pi * 2.0 * seconds(now - zero)); };
  const auto steps = R"([{"do": "road", "steps": [{"do": "hold", "name": "swing", "for": "8 s"}]}])";
  SECTION("in time") {
    rig.device.actuator = 1ms;
    rig.run("72 km/h", steps);
    CHECK_FALSE(rig.outcome.tripped);
  }
  SECTION("late by a tenth of a second") {
    rig.device.actuator = 100ms;
    rig.run("72 km/h", steps);
    CHECK(rig.outcome.tripped);
    CHECK(rig.outcome.trip == TripCause::load_energy);
    const auto trips = rig.records.of(EventKind::tripped);
    REQUIRE(trips.size() == 1);
    CHECK(trips.front().b == force_seen);
    CHECK(trips.front().value > 20.0);
    CHECK(trips.front().value < 40.0);
  }
  SECTION("on a bench that does not watch it") {
    rig.bench.load->energy.reset();
    rig.device.actuator = 100ms;
    rig.run("72 km/h", steps);
    CHECK_FALSE(rig.outcome.tripped);
  }
}
