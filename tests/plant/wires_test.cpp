// Faults in the unit's wires: what the bench measures at each, and what the unit gets through it.
// docs/simulated-bench.md.

#include <map>

#include "tests/catch.hpp"
#include "tests/plant/rig.hpp"

using namespace trackrod;
using namespace trackrod::rig;

namespace {

constexpr double held = 60.0;  // deg at the hand wheel

}  // namespace

TEST_CASE("a fault is proven by the voltage at the unit's side, which differs for each kind") {
  const auto wire = static_cast<Wire>(GENERATE(range(0, static_cast<int>(Wire::feed_main))));
  CAPTURE(wire_names[static_cast<std::size_t>(wire)].fault);
  const std::map<double, double> volts_by_fault{{0.0, 5.0}, {1.0, 1.0}, {2.0, 0.0}, {3.0, 12.0},
                                                {4.0, 3.0}, {5.0, 4.0}, {6.0, 5.0}, {-1.0, 5.0}};
  auto truth = quiet();
  Plant plant{truth, 1};
  for (const auto& [fault, volts] : volts_by_fault) {
    plant.set(fault_of(wire), fault);
    plant.advance_to(plant.now() + 10ms);
    for (std::size_t other = 0; static_cast<Wire>(other) < Wire::feed_main; ++other)
      CHECK(plant.read(volts_of(static_cast<Wire>(other))) == (static_cast<Wire>(other) == wire ? volts : 5.0));
  }
}

TEST_CASE("a wire's relay is late and bounces like the one in the sensor's feed") {
  Plant plant{quiet(), 1};
  plant.set(fault_of(Wire::link), 2.0);
  std::vector<double> seen;
  for (const auto at : {3900us, 4100us, 4600us, 5100us, 9000us}) {
    plant.advance_to(BenchTime{at});
    seen.push_back(plant.read(volts_of(Wire::link)));
  }
  CHECK(seen == std::vector<double>{5.0, 0.0, 5.0, 0.0, 0.0});
}

TEST_CASE("an angle sensor shows what its wire lets through") {
  struct Sensor {
    Wire wire;
    PlantOutput output;
    bool at_hand;
  };
  const auto sensor = GENERATE(Sensor{Wire::hand_a, PlantOutput::unit_hand_angle_a, true},
                               Sensor{Wire::hand_b, PlantOutput::unit_hand_angle_b, true},
                               Sensor{Wire::road_a, PlantOutput::unit_road_angle, false},
                               Sensor{Wire::road_b, PlantOutput::unit_road_angle_b, false});
  CAPTURE(wire_names[static_cast<std::size_t>(sensor.wire)].fault);
  auto truth = quiet();
  truth.fault.delay = truth.fault.bounce = 0ms;
  truth.hand.offset_a = truth.hand.offset_b = 0.0;
  Plant plant{truth, 1};
  hold_turned(plant, held);
  const auto shows = [&](double fault) {
    plant.set(fault_of(sensor.wire), fault);
    plant.advance_to(plant.now() + 3ms);  // beyond the sensor's own delay
    return plant.read(sensor.output);
  };
  const auto is = [&] { return sensor.at_hand ? plant.actual().hand_angle : plant.actual().motor_angle; };
  CHECK(shows(0.0) == Approx(is()).margin(0.02));
  CHECK(shows(1.0) == 0.0);
  CHECK(shows(2.0) == -800.0);
  CHECK(shows(3.0) == 800.0);
  const double through = shows(5.0);
  CHECK(through == Approx(0.8 * is()).margin(0.05));
  const double next = shows(4.0);
  CHECK(next == Approx(sensor.at_hand ? plant.actual().motor_angle : plant.actual().hand_angle).margin(0.5));
}

TEST_CASE("a wrong road-angle sensor pulls the road wheel away no faster than it is corrected by it") {
  auto truth = quiet();
  truth.fault.delay = truth.fault.bounce = 0ms;
  Plant plant{truth, 1};
  hold_turned(plant, held);
  const double before = plant.actual().road_angle;
  plant.set(fault_of(Wire::road_a), 3.0);
  plant.advance_to(plant.now() + 20ms);
  CHECK(plant.actual().road_angle < before - 0.1);
  CHECK(plant.actual().road_angle > before - 0.8);  // 40 deg/s
}

TEST_CASE("each winding gives half of the feedback torque") {
  Plant plant{quiet(), 1};
  hold_turned(plant, held);
  const double full = plant.actual().hand_torque;  // the drive holds against it
  REQUIRE(full == Approx(held * 0.02).epsilon(0.05));
  plant.set(fault_of(Wire::winding_2), 1.0);
  plant.advance_to(plant.now() + 1s);
  CHECK(plant.actual().hand_torque == Approx(0.5 * full).epsilon(0.05));
}

TEST_CASE("behind a broken bus the unit hears of no command") {
  Plant plant{quiet(), 1};
  power_up(plant);
  plant.set(PlantInput::vehicle_speed, 0.0);
  plant.set(fault_of(Wire::bus), 1.0);
  plant.advance_to(plant.now() + 10ms);
  plant.set(PlantInput::unit_ignition, 0.0);
  plant.set(PlantInput::vehicle_speed, 100.0);
  plant.advance_to(plant.now() + 1s);
  CHECK(plant.unit_speaks());
  CHECK(plant.actual().ratio == Approx(8.0));
  plant.set(fault_of(Wire::bus), 0.0);
  plant.advance_to(plant.now() + 10ms);
  plant.set(PlantInput::unit_ignition, 0.0);
  plant.advance_to(plant.now() + 10ms);
  CHECK_FALSE(plant.unit_speaks());
}
