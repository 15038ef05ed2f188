// The hand-wheel drive: modes, stops, time-out.

#include <cmath>

#include "tests/catch.hpp"
#include "tests/plant/rig.hpp"

using namespace trackrod;
using namespace trackrod::rig;

namespace {
constexpr double pi = 3.141592653589793;
}

TEST_CASE("turning steadily takes the torque of the friction and of the viscous drag") {
  // Statics: T = F + c w.
  auto truth = linear();
  truth.drive.friction = 0.25;
  Plant plant{truth, 1};
  plant.set(PlantInput::hand_mode, 1.0);
  run(plant, 1s, [&](double t) { plant.set(PlantInput::hand_angle_cmd, 80.0 * t); });
  double mean = 0.0;
  run(plant, 500ms, [&](double t) {
    plant.set(PlantInput::hand_angle_cmd, 80.0 * (1.0 + t));
    mean += plant.actual().hand_torque / 500;
  });
  CHECK(mean == Approx(0.25 + truth.drive.viscous * 80.0 * pi / 180.0).epsilon(0.03));
}

TEST_CASE("the work of a torque goes into motion, drag and friction, and none is made") {
  auto truth = linear();
  truth.drive.friction = 0.25;
  Plant plant{truth, 1};
  plant.set(PlantInput::hand_mode, 2.0);
  plant.set(PlantInput::hand_torque_cmd, 2.0);
  double work = 0.0, lost = 0.0, before = 0.0;
  for (BenchTime t{50us}; t <= BenchTime{200ms}; t += 50us) {
    plant.advance_to(t);
    const auto a = plant.actual();
    const double turned = (a.hand_angle - before) * pi / 180.0;
    work += a.hand_torque * turned;
    lost += (truth.drive.friction + truth.drive.viscous * a.hand_speed * pi / 180.0) * turned;
    before = a.hand_angle;
  }
  const double speed = plant.actual().hand_speed * pi / 180.0;
  const double kinetic = 0.5 * truth.drive.inertia * speed * speed;
  CHECK(kinetic > 0.1);
  // J w^2 / 2; the torque fades in over torque_fade after the change of mode.
  CHECK(kinetic == Approx(work - lost).epsilon(0.003));
}

TEST_CASE("mode stop brings the wheel to rest in J w / (brake + friction) and then holds it") {
  // Uniform deceleration: t = J w / T.
  auto truth = linear();
  truth.drive.friction = 0.25;
  truth.drive.viscous = 0.0;
  Plant plant{truth, 1};
  plant.set(PlantInput::hand_mode, 1.0);
  run(plant, 500ms, [&](double t) { plant.set(PlantInput::hand_angle_cmd, 200.0 * t); });
  const double speed = plant.actual().hand_speed;
  REQUIRE(speed == Approx(200.0).epsilon(0.05));
  plant.set(PlantInput::hand_mode, 0.0);
  const auto from = plant.now();
  while (plant.actual().hand_speed != 0.0 && plant.now() < from + 1s) plant.advance_to(plant.now() + 50us);
  CHECK(seconds(plant.now() - from) == Approx(0.06 * speed * pi / 180.0 / 15.25).margin(60e-6));
  const double rest = plant.actual().hand_angle;
  plant.set(PlantInput::hand_angle_cmd, -90.0);
  plant.advance_to(plant.now() + 2s);
  CHECK(plant.actual().hand_angle == rest);
  CHECK(plant.read(PlantOutput::hand_state) == 0.0);
}

TEST_CASE("the hard stops hold the wheel near 140 degrees, left and right") {
  auto truth = linear();
  REQUIRE(truth.drive.stop_angle == 140.0);
  const double side = GENERATE(1.0, -1.0);
  Plant plant{truth, 1};
  plant.set(PlantInput::hand_mode, 2.0);
  plant.set(PlantInput::hand_torque_cmd, side * 7.0);
  double reach = 0.0;
  run(plant, 5s, [&](double) { reach = std::max(reach, side * plant.actual().hand_angle); });
  // At rest the stop gives by T / k.
  CHECK(side * plant.actual().hand_angle == Approx(140.0 + 7.0 / 35.0).margin(0.01));
  CHECK(reach < 155.0);
  CHECK(std::abs(plant.actual().hand_speed) < 0.1);
}

TEST_CASE("in position mode the wheel reaches the commanded angle, and never beyond the torque limit") {
  auto truth = linear();
  Plant plant{truth, 1};
  plant.set(PlantInput::hand_mode, 1.0);
  double greatest = 0.0;
  plant.set(PlantInput::hand_angle_cmd, 30.0);
  run(plant, 2s, [&](double) { greatest = std::max(greatest, std::abs(plant.actual().hand_torque)); });
  CHECK(plant.actual().hand_angle == Approx(30.0).margin(0.01));
  plant.set(PlantInput::hand_angle_cmd, -90.0);
  run(plant, 2s, [&](double) { greatest = std::max(greatest, std::abs(plant.actual().hand_torque)); });
  CHECK(plant.actual().hand_angle == Approx(-90.0).margin(0.01));
  CHECK(greatest == truth.drive.torque_limit);
}

TEST_CASE("a change of mode starts with the torque that was there") {
  auto truth = linear();
  Plant plant{truth, 1};
  plant.set(PlantInput::hand_mode, 1.0);
  run(plant, 500ms, [&](double t) { plant.set(PlantInput::hand_angle_cmd, 100.0 * t); });

  SECTION("position to torque, with a torque command far off") {
    const double before = plant.actual().hand_torque;
    plant.set(PlantInput::hand_torque_cmd, 8.0);
    plant.set(PlantInput::hand_mode, 2.0);
    plant.advance_to(plant.now() + 50us);
    CHECK(plant.actual().hand_torque == Approx(before).margin(0.05));
    plant.advance_to(plant.now() + 200ms);
    CHECK(plant.actual().hand_torque == Approx(8.0));
  }
  SECTION("free to position, with the setpoint far off, mode first or last in the message") {
    plant.set(PlantInput::hand_mode, 3.0);
    plant.advance_to(plant.now() + 200ms);
    const auto at = plant.actual();
    CHECK(at.hand_torque == 0.0);
    const bool mode_first = GENERATE(true, false);
    if (mode_first) plant.set(PlantInput::hand_mode, 1.0);
    plant.set(PlantInput::hand_angle_cmd, -60.0);
    if (!mode_first) plant.set(PlantInput::hand_mode, 1.0);
    plant.advance_to(plant.now() + 50us);
    CHECK(std::abs(plant.actual().hand_torque) < 0.2);
    double fastest = 0.0;
    run(plant, 4s, [&](double t) {
      if (t > 0.1) fastest = std::max(fastest, std::abs(plant.actual().hand_speed));
    });
    CHECK(plant.actual().hand_angle == Approx(-60.0).margin(0.01));
    CHECK(fastest < truth.drive.catch_up_rate * 1.05);
  }
}

TEST_CASE("without commands the drive stops by itself and resumes only when told to stop first") {
  auto truth = linear();
  truth.drive.command_timeout = 100ms;
  Plant plant{truth, 1};
  plant.set(PlantInput::hand_mode, 1.0);
  run(plant, 1s, [&](double t) { plant.set(PlantInput::hand_angle_cmd, 100.0 * t); });
  const double left_at = plant.actual().hand_angle;
  plant.advance_to(plant.now() + 99ms);
  CHECK(plant.read(PlantOutput::hand_state) == 1.0);
  plant.advance_to(plant.now() + 51ms);
  CHECK(plant.read(PlantOutput::hand_state) == drive_timed_out);
  CHECK(plant.actual().hand_speed == 0.0);
  CHECK(plant.actual().hand_angle < left_at + 2.0);

  plant.set(PlantInput::hand_mode, 1.0);
  plant.set(PlantInput::hand_angle_cmd, 0.0);
  plant.advance_to(plant.now() + 50ms);
  CHECK(plant.read(PlantOutput::hand_state) == drive_timed_out);
  CHECK(plant.actual().hand_speed == 0.0);

  plant.set(PlantInput::hand_mode, 0.0);
  plant.set(PlantInput::hand_mode, 1.0);
  plant.advance_to(plant.now() + 50ms);
  CHECK(plant.read(PlantOutput::hand_state) == 1.0);
}

TEST_CASE("with the time-out set to never the drive goes on towards its last setpoint") {
  Plant plant{linear(), 1};
  plant.set(PlantInput::hand_mode, 1.0);
  plant.set(PlantInput::hand_angle_cmd, 25.0);
  plant.advance_to(BenchTime{60s});
  CHECK(plant.read(PlantOutput::hand_state) == 1.0);
  CHECK(plant.actual().hand_angle == Approx(25.0).margin(0.01));
}
