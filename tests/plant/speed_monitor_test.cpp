// What the unit makes of the vehicle's speed on a bus that says it in two messages. docs/simulated-bench.md.

#include "tests/catch.hpp"
#include "tests/plant/rig.hpp"

using namespace trackrod;
using namespace trackrod::rig;

namespace {

// A vehicle that says its speed in two messages each 10 ms.
struct Vehicle {
  double speed{40.0}, other{40.0};  // km/h
  int messages{1};                  // of the first kind, each time
  bool says_first{true}, says_other{true};

  void drive(Plant& plant, Duration span) const {
    for (const auto end = plant.now() + span; plant.now() < end; plant.advance_to(plant.now() + 1ms)) {
      if (plant.now().time_since_epoch() % 10ms != 3ms) continue;
      for (int i = 0; i < messages && says_first; ++i) plant.set(PlantInput::vehicle_speed, speed);
      if (says_other) plant.set(PlantInput::vehicle_speed_b, other);
    }
  }
};

double code(const Plant& plant) { return plant.read(PlantOutput::unit_code); }

// ms until the code is `wanted`, to the millisecond.
double ms_until_code(Plant& plant, const Vehicle& vehicle, double wanted) {
  const auto from = plant.now();
  while (code(plant) != wanted && plant.now() < from + 5s) vehicle.drive(plant, 1ms);
  return 1e3 * seconds(plant.now() - from);
}

// ratio of hand angle to road-wheel angle; docs/simulated-bench.md, "Ratio".
double ratio_at(double speed) {
  const double x = speed / 100.0;
  return 8.0 + 6.0 * x * x * (3.0 - 2.0 * x);
}

// The wheel held turned, 40 km/h for long.
void set_out(Plant& plant, const Vehicle& vehicle) {
  hold_turned(plant, 60.0);
  // From standstill, as fast as a vehicle can.
  for (Vehicle faster{.speed = 0.0, .other = 0.0}; faster.speed < vehicle.speed; ++faster.speed, ++faster.other)
    faster.drive(plant, 30ms);
  vehicle.drive(plant, 2s);
}

}  // namespace

TEST_CASE("a speed that cannot be right is told by its code, and steered without") {
  struct Row {
    const char* what;
    Vehicle vehicle;
    double soonest, latest;  // ms
    int code;
  };
  const std::vector<Row> rows{
      // 50 ms of silence by whole cycles of 10 ms, and two more checks; the last message came up to 10 ms before.
      {"silent", {.says_first = false, .says_other = false}, 60.0, 80.0, 51},
      {"one of two silent", {.says_other = false}, 60.0, 80.0, 51},
      {"four a cycle", {.messages = 4}, 20.0, 40.0, 52},
      {"6 km/h apart", {.other = 46.0}, 20.0, 40.0, 53},
      // 15 m/s^2 are 0.54 km/h a cycle.
      {"a jump of 20 km/h", {.speed = 60.0, .other = 60.0}, 20.0, 40.0, 54},
  };
  for (const auto& row : rows) {
    CAPTURE(row.what);
    Plant plant{quiet(), 1};
    const Vehicle good{};
    set_out(plant, good);
    REQUIRE(code(plant) == 0.0);
    REQUIRE(plant.actual().ratio == Approx(ratio_at(40.0)).epsilon(0.001));
    const double found = ms_until_code(plant, row.vehicle, row.code);
    CHECK(found >= row.soonest);
    CHECK(found <= row.latest);
    CHECK(plant.read(PlantOutput::unit_level) == 2.0);
    CHECK(plant.read(PlantOutput::unit_mode) == 2.0);
    CHECK(plant.read(PlantOutput::unit_warning) >= 128.0);
    if (row.code == 54) continue;  // it has 60 km/h already
    // 20 km/h at 5 m/s^2 take 1.1 s, and the filter on the speed 0.15 s.
    row.vehicle.drive(plant, 200ms);
    CHECK(plant.actual().ratio < ratio_at(46.0));
    row.vehicle.drive(plant, 3s);
    CHECK(plant.actual().ratio == Approx(ratio_at(60.0)).epsilon(0.001));
    CHECK(plant.actual().road_angle == Approx(0.95 * 60.0 / ratio_at(60.0)).margin(0.02));

    const double healed = ms_until_code(plant, good, 0.0);
    CHECK(healed >= 390.0);
    CHECK(healed <= 410.0);
    good.drive(plant, 200ms);
    CHECK(plant.actual().ratio > ratio_at(54.0));  // no jump
    good.drive(plant, 3s);
    CHECK(plant.actual().ratio == Approx(ratio_at(40.0)).epsilon(0.001));
    CHECK(plant.actual().road_angle == Approx(60.0 / ratio_at(40.0)).margin(0.02));
  }
}

TEST_CASE("a jump of the speed is forgiven once a vehicle could have got there") {
  Plant plant{quiet(), 1};
  set_out(plant, {});
  const Vehicle jumped{.speed = 60.0, .other = 60.0};
  ms_until_code(plant, jumped, 54.0);
  // 18 km/h at 54 km/h a second, and 40 good checks.
  CHECK(ms_until_code(plant, jumped, 0.0) == Approx(333.0 - 30.0 + 400.0).margin(15.0));
}

TEST_CASE("a broken bus is found by its silence; short of that a speed is believed") {
  for (const auto fault : {1.0, 2.0, 3.0, 4.0}) {
    Plant plant{quiet(), 1};
    set_out(plant, {});
    plant.set(fault_of(Wire::bus), fault);
    const double found = ms_until_code(plant, {}, 51.0);
    CHECK(found >= 60.0);
    CHECK(found <= 4.0 + 80.0);
  }
  Plant plant{quiet(), 1};
  set_out(plant, {});
  Vehicle{.says_first = false, .says_other = false}.drive(plant, 50ms);
  Vehicle{}.drive(plant, 1s);
  CHECK(code(plant) == 0.0);
  Vehicle{.other = 45.0, .messages = 3}.drive(plant, 1s);
  CHECK(code(plant) == 0.0);
}

TEST_CASE("on a bus with one message the speed is taken as it comes") {
  Plant plant{quiet(), 1};
  hold_turned(plant, 60.0);
  plant.set(PlantInput::vehicle_speed, 100.0);
  plant.advance_to(plant.now() + 3s);
  CHECK(code(plant) == 0.0);
  CHECK(plant.actual().ratio == Approx(14.0).epsilon(0.001));
}
