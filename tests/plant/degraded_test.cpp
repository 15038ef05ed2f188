// What the unit finds in its wires, how soon, what it says of it, and what is left. docs/simulated-bench.md.

#include <algorithm>

#include "tests/catch.hpp"
#include "tests/plant/rig.hpp"

using namespace trackrod;
using namespace trackrod::rig;

namespace {

constexpr double held = 60.0;        // deg at the hand wheel
constexpr double road = held / 8.0;  // and at the road wheel, at standstill

struct Row {
  Wire wire;
  std::vector<WireFault> faults;
  int confirm;  // checks in a row, one each 10 ms
  double late;  // ms from the fault to where the monitor sees it
  int code, level, mode;
  unsigned warning;
};

using enum WireFault;
const std::vector<Row> rows{
    {Wire::hand_a, {ground, supply}, 3, 2.0, 11, 2, 2, 4},
    {Wire::hand_b, {ground, supply}, 3, 2.0, 12, 2, 2, 4},
    {Wire::hand_a, {open, neighbour, resistance}, 8, 2.0, 13, 2, 2, 4},
    {Wire::hand_b, {open, neighbour, resistance}, 8, 2.0, 14, 2, 2, 4},
    {Wire::road_a, {ground, supply}, 3, 0.0, 21, 2, 2, 8},
    {Wire::road_b, {ground, supply}, 3, 0.0, 22, 2, 2, 8},
    {Wire::road_a, {open, neighbour, resistance}, 5, 0.0, 23, 2, 2, 8},
    {Wire::road_b, {open, neighbour, resistance}, 5, 0.0, 24, 2, 2, 8},
    {Wire::motor_1, {open, ground, supply, neighbour, resistance}, 4, 0.0, 31, 2, 1, 16},
    {Wire::motor_2, {open, ground, supply, neighbour, resistance}, 4, 0.0, 32, 2, 1, 16},
    {Wire::control_1, {open, ground, supply, neighbour}, 3, 0.0, 41, 2, 1, 32},
    {Wire::control_2, {open, ground, supply, neighbour}, 3, 0.0, 42, 2, 1, 32},
    {Wire::winding_1, {open, ground, supply, neighbour, resistance}, 4, 0.0, 61, 2, 0, 64},
    {Wire::winding_2, {open, ground, supply, neighbour, resistance}, 4, 0.0, 62, 2, 0, 64},
    {Wire::link, {open, ground, supply, neighbour}, 3, 0.0, 43, 1, 0, 256},
};

Truth at_once() {
  auto truth = quiet();
  truth.fault.delay = truth.fault.bounce = 0ms;
  return truth;
}

double code(const Plant& plant) { return plant.read(PlantOutput::unit_code); }
double level(const Plant& plant) { return plant.read(PlantOutput::unit_level); }
double mode(const Plant& plant) { return plant.read(PlantOutput::unit_mode); }
double warning(const Plant& plant) { return plant.read(PlantOutput::unit_warning); }

void make(Plant& plant, Wire wire, WireFault fault) { plant.set(fault_of(wire), static_cast<double>(fault)); }

bool latches(int code) { return code / 10 == 3 || code == 41 || code == 42 || code / 10 == 6; }

}  // namespace

TEST_CASE("each fault is found after the checks that it takes, and is told by its code, level and mode") {
  for (const auto& row : rows)
    for (const auto fault : row.faults) {
      CAPTURE(wire_names[static_cast<std::size_t>(row.wire)].fault, static_cast<int>(fault));
      Plant plant{at_once(), 1};
      hold_turned(plant, held);
      REQUIRE(code(plant) == 0.0);
      plant.advance_to(plant.now() + std::chrono::microseconds{1700 * static_cast<int>(fault)});  // any phase
      make(plant, row.wire, fault);
      const double found = ms_until(plant, [&] { return code(plant) != 0.0; });
      CHECK(found >= row.late + 10.0 * (row.confirm - 1) - 0.2);
      CHECK(found <= row.late + 10.0 * row.confirm + 0.2);
      plant.advance_to(plant.now() + 1s);
      CHECK(code(plant) == row.code);
      CHECK(level(plant) == row.level);
      CHECK(mode(plant) == row.mode);
      CHECK(warning(plant) == row.warning);
      CHECK(plant.actual().road_angle == Approx((row.mode == 2 ? 0.95 : 1.0) * road).margin(0.02));

      make(plant, row.wire, intact);
      const double healed = ms_until(plant, [&] { return code(plant) == 0.0; });
      if (latches(row.code)) {
        CHECK(code(plant) == row.code);
        plant.set(PlantInput::unit_ignition, 0.0);
        plant.advance_to(plant.now() + 10ms);
        CHECK(code(plant) == 0.0);  // it says nothing
        plant.set(PlantInput::unit_ignition, 1.0);
        plant.advance_to(plant.now() + 2s);
      } else {
        CHECK(healed >= row.late + 10.0 * (40 - 1) - 0.2);
        CHECK(healed <= row.late + 10.0 * 40 + 0.2);
        plant.advance_to(plant.now() + 1s);
      }
      CHECK(code(plant) == 0.0);
      CHECK(level(plant) == 0.0);
      CHECK(mode(plant) == 0.0);
      CHECK(plant.actual().road_angle == Approx(road).margin(0.02));
    }
}

TEST_CASE("through a resistance controllers, their link and the bus go on as if nothing were") {
  for (const auto wire : {Wire::control_1, Wire::control_2, Wire::link, Wire::bus}) {
    Plant plant{at_once(), 1};
    hold_turned(plant, held);
    make(plant, wire, resistance);
    plant.advance_to(plant.now() + 1s);
    CHECK(code(plant) == 0.0);
  }
}

TEST_CASE("the sensor that is lost is not steered by, whichever it is") {
  for (const auto wire : {Wire::hand_a, Wire::hand_b, Wire::road_a, Wire::road_b}) {
    CAPTURE(wire_names[static_cast<std::size_t>(wire)].fault);
    Plant plant{at_once(), 1};
    hold_turned(plant, held);
    make(plant, wire, open);
    double least = road, most = road;
    run(plant, 2s, [&](double) {
      least = std::min(least, plant.actual().road_angle);
      most = std::max(most, plant.actual().road_angle);
    });
    const bool steered_by = wire == Wire::hand_a || wire == Wire::road_a;
    // The other one costs only the gain of reduced following; the overshoot of the servo is within 0.1 deg of that.
    CHECK((least < 0.95 * road - 0.2 || most > road + 0.2) == steered_by);
    CHECK(plant.actual().road_angle == Approx(0.95 * road).margin(0.02));
  }
}

TEST_CASE("two sensors that fail alike are found by the third angle, and the road wheel is kept where it is") {
  struct Both {
    Wire a, b;
    int code;
    unsigned warning;
  };
  for (const auto& both : {Both{Wire::hand_a, Wire::hand_b, 15, 4}, Both{Wire::road_a, Wire::road_b, 25, 8}})
    for (const auto fault : {open, ground}) {
      CAPTURE(both.code, static_cast<int>(fault));
      Plant plant{at_once(), 1};
      hold_turned(plant, held);
      make(plant, both.a, fault);
      make(plant, both.b, fault);
      plant.advance_to(plant.now() + 200ms);
      CHECK(code(plant) == both.code);
      CHECK(level(plant) == 3.0);
      CHECK(mode(plant) == 4.0);
      CHECK(warning(plant) == both.warning);
      const double kept = plant.actual().road_angle;
      plant.set(PlantInput::hand_angle_cmd, -held);
      plant.advance_to(plant.now() + 3s);
      CHECK(plant.actual().road_angle == Approx(kept).margin(0.02));
    }
}

TEST_CASE(
    "one half of the rack motor gives half the force, slower; after the emergency time slower still, and stop now") {
  auto truth = at_once();
  truth.emergency.time = 2s;
  truth.road.force_limit = 3000.0;
  Plant plant{truth, 1};
  hold_turned(plant, held);
  const auto rate = [&](double to) {
    const double from = plant.actual().road_angle;
    plant.set(PlantInput::hand_angle_cmd, to);
    double fastest = 0.0, before = from;
    run(plant, 500ms, [&](double) {
      fastest = std::max(fastest, std::abs(plant.actual().road_angle - before) / 1e-3);
      before = plant.actual().road_angle;
    });
    return fastest;
  };
  plant.set(PlantInput::road_load_cmd, 2000.0);
  plant.advance_to(plant.now() + 1s);
  CHECK(plant.actual().road_angle == Approx(road + 2000.0 / 1296.0).margin(0.05));  // within its force
  plant.set(PlantInput::road_load_cmd, 0.0);
  plant.advance_to(plant.now() + 1s);

  make(plant, Wire::motor_2, open);
  const double found = ms_until(plant, [&] { return code(plant) == 32.0; });
  CHECK(found <= 40.2);
  CHECK(level(plant) == 2.0);
  CHECK(rate(-held) == Approx(0.6 * 60.0).epsilon(0.1));
  const double late = ms_until(plant, [&] { return level(plant) == 3.0; });
  CHECK(500.0 + late == Approx(2000.0).margin(11.0));
  CHECK(code(plant) == 32.0);
  CHECK(mode(plant) == 1.0);
  plant.advance_to(plant.now() + 1s);
  CHECK(rate(held) == Approx(0.3 * 60.0).epsilon(0.1));
  plant.advance_to(plant.now() + 2s);
  plant.set(PlantInput::road_load_cmd, 2000.0);
  plant.advance_to(plant.now() + 1s);
  CHECK(plant.actual().road_angle > road + 5.0);  // beyond its force of 1500 N
}

TEST_CASE("without any half the rack is limp; without any controller the unit is silent") {
  Plant plant{at_once(), 1};
  hold_turned(plant, held);
  make(plant, Wire::motor_1, open);
  make(plant, Wire::motor_2, ground);
  plant.advance_to(plant.now() + 100ms);
  CHECK(code(plant) == 33.0);
  CHECK(level(plant) == 3.0);
  CHECK(mode(plant) == 4.0);
  plant.set(PlantInput::road_load_cmd, 200.0);
  plant.advance_to(plant.now() + 1s);
  CHECK(plant.actual().road_angle > road + 1.0);

  make(plant, Wire::control_1, open);
  make(plant, Wire::control_2, open);
  plant.advance_to(plant.now() + 10ms);
  CHECK_FALSE(plant.unit_speaks());
}

TEST_CASE("without one winding half of the feedback is left, without both none") {
  Plant plant{at_once(), 1};
  hold_turned(plant, held);
  const double full = plant.actual().hand_torque;
  make(plant, Wire::winding_1, resistance);  // which carries a quarter until it is switched off
  plant.advance_to(plant.now() + 1s);
  CHECK(plant.actual().hand_torque == Approx(0.5 * full).epsilon(0.05));
  make(plant, Wire::winding_2, open);
  plant.advance_to(plant.now() + 1s);
  CHECK(plant.actual().hand_torque == Approx(0.0).margin(0.02));
  CHECK(code(plant) == 63.0);
  CHECK(level(plant) == 2.0);
  CHECK(mode(plant) == 3.0);
  CHECK(plant.actual().road_angle == Approx(road).margin(0.02));
}

TEST_CASE("what stays until the next ignition outlasts a loss of power") {
  Plant plant{at_once(), 1};
  hold_turned(plant, held);
  make(plant, Wire::motor_1, open);
  plant.advance_to(plant.now() + 100ms);
  make(plant, Wire::motor_1, intact);
  plant.set(PlantInput::supply_output, 0.0);
  plant.advance_to(plant.now() + 2s);
  REQUIRE_FALSE(plant.unit_speaks());
  plant.set(PlantInput::supply_output, 1.0);
  plant.advance_to(plant.now() + 2s);
  CHECK(code(plant) == 31.0);
  CHECK(mode(plant) == 1.0);
}
