// Supply, sensors, and that the plant is the same twice.

#include "fixtures/plant/plant.hpp"

#include <cmath>
#include <limits>
#include <vector>

#include "tests/catch.hpp"
#include "tests/plant/rig.hpp"

using namespace trackrod;
using namespace trackrod::rig;

namespace {

std::vector<double> record(std::uint64_t seed, Duration every) {
  Plant plant{Truth{}, seed};
  power_up(plant);
  plant.set(PlantInput::hand_mode, 1.0);
  std::vector<double> all;
  const auto from = plant.now();
  for (Duration t{}; t < 1s; t += every) {
    if (t % 1ms == Duration::zero()) plant.set(PlantInput::hand_angle_cmd, 20.0 * std::sin(6.0 * seconds(t)));
    plant.advance_to(from + t + every);
    if ((t + every) % 1ms == Duration::zero())
      for (std::size_t i = 0; i < plant_output_names.size(); ++i)
        all.push_back(plant.read(static_cast<PlantOutput>(i)));
  }
  return all;
}

}  // namespace

TEST_CASE("the same seed gives the same values, however finely time is advanced; another seed gives other noise") {
  const auto once = record(7, 1ms);
  CHECK(once == record(7, 1ms));
  CHECK(once == record(7, 250us));
  CHECK(once != record(8, 1ms));
}

TEST_CASE("doubling the integration rate hardly moves the road wheel, with friction, play and limits on") {
  const auto road_at = [](Duration step) {
    Plant plant{Truth{}, 1, BenchTime{}, step};
    power_up(plant);
    plant.set(PlantInput::hand_mode, 1.0);
    std::vector<double> angle;
    run(plant, 2s, [&](double t) {
      plant.set(PlantInput::hand_angle_cmd, 40.0 * std::sin(8.0 * t));
      angle.push_back(plant.actual().road_angle);
    });
    return angle;
  };
  const auto coarse = road_at(50us), fine = road_at(25us);
  for (std::size_t i = 0; i < coarse.size(); ++i) REQUIRE(coarse[i] == Approx(fine[i]).margin(0.005));
}

TEST_CASE("sensor noise has the standard deviation of the truth and no mean") {
  Plant plant{Truth{}, static_cast<std::uint64_t>(GENERATE(1, 2, 3))};
  const int n = 20000;
  double sum = 0.0, squares = 0.0;
  for (int i = 0; i < n; ++i) {
    plant.advance_to(plant.now() + 1ms);
    const double v = plant.read(PlantOutput::hand_angle);
    sum += v;
    squares += v * v;
  }
  const double sd = 0.005;
  // 5 standard errors of mean and of standard deviation (sd / sqrt(2 n)): normal theory.
  CHECK(std::abs(sum / n) < 5.0 * sd / std::sqrt(n));
  CHECK(std::sqrt(squares / n) == Approx(sd).margin(5.0 * sd / std::sqrt(2.0 * n)));
}

TEST_CASE("a sensor shows the world as it was its delay ago, also between integration steps") {
  auto truth = linear();
  truth.sensors.hand_delay = GENERATE(0us, 300us, 333us, 5000us);
  Plant plant{truth, 1};
  plant.set(PlantInput::hand_mode, 1.0);
  run(plant, 1s, [&](double t) { plant.set(PlantInput::hand_angle_cmd, 50.0 * t); });
  plant.set(PlantInput::hand_mode, 3.0);  // free: nearly steady speed for the next millisecond
  plant.advance_to(plant.now() + 6ms);
  const auto a = plant.actual();
  const double expected = a.hand_angle - a.hand_speed * seconds(truth.sensors.hand_delay);
  CHECK(plant.read(PlantOutput::hand_angle) == Approx(expected).margin(50.0 * 30e-6));
}

TEST_CASE("the unit's own sensors step by their resolution and differ by their offsets") {
  auto truth = linear();
  truth.hand = {.resolution = 0.1, .noise = 0.0, .offset_a = 0.0, .offset_b = 0.5};
  Plant plant{truth, 1};
  power_up(plant);
  plant.set(PlantInput::hand_mode, 1.0);
  plant.set(PlantInput::hand_angle_cmd, 12.34);
  plant.advance_to(plant.now() + 2s);
  CHECK(plant.read(PlantOutput::unit_hand_angle_a) == Approx(12.3));
  CHECK(plant.read(PlantOutput::unit_hand_angle_b) == Approx(12.8));
}

TEST_CASE("the supply sags by current times resistance and charges its capacitance") {
  auto truth = linear();
  truth.supply = {
      .slew = 1e6, .resistance = 0.1, .capacitance = 0.02, .bleed = 1e9, .voltage_noise = 0, .current_noise = 0};
  truth.power.idle_current = 10.0;
  Plant plant{truth, 1};
  plant.set(PlantInput::supply_voltage, 13.5);
  plant.set(PlantInput::supply_output, 1.0);
  // Textbook: 1 - 1/e after R C = 2 ms, from 0 V.
  plant.advance_to(plant.now() + 2ms);
  CHECK(plant.read(PlantOutput::supply_voltage) == Approx(13.5 * 0.632121).epsilon(0.02));
  plant.advance_to(plant.now() + 1s);
  CHECK(plant.read(PlantOutput::supply_voltage) == Approx(13.5));
  plant.set(PlantInput::unit_ignition, 1.0);
  plant.advance_to(plant.now() + 1s);
  // Ohm: 10 A through 0.1 ohm.
  CHECK(plant.read(PlantOutput::supply_voltage) == Approx(12.5).margin(0.01));
  CHECK(plant.read(PlantOutput::supply_current) == Approx(10.0).margin(0.01));
  // Output off: 10 A drain 0.02 F at 500 V/s.
  plant.set(PlantInput::supply_output, 0.0);
  plant.advance_to(plant.now() + 10ms);
  CHECK(plant.read(PlantOutput::supply_voltage) == Approx(7.5).margin(0.05));
  CHECK(plant.read(PlantOutput::supply_current) == 0.0);
}

TEST_CASE("the unit goes silent and limp in a brown-out and comes back above its restart voltage") {
  Truth truth;
  Plant plant{truth, 1};
  CHECK_FALSE(plant.unit_speaks());
  power_up(plant);
  CHECK(plant.unit_speaks());
  CHECK(plant.read(PlantOutput::unit_state) == 2.0);
  plant.set(PlantInput::supply_voltage, 10.0);
  plant.advance_to(plant.now() + 1s);
  CHECK(plant.read(PlantOutput::unit_state) == 3.0);
  CHECK(plant.read(PlantOutput::unit_warning) == warning_low_supply);
  plant.set(PlantInput::supply_voltage, 6.0);
  plant.advance_to(plant.now() + 1s);
  CHECK_FALSE(plant.unit_speaks());
  // Limp: the load pushes the rack away.
  const double before = plant.actual().road_angle;
  plant.set(PlantInput::road_load_cmd, 1000.0);
  plant.advance_to(plant.now() + 500ms);
  CHECK(plant.actual().road_angle > before + 1.0);
  plant.set(PlantInput::road_load_cmd, 0.0);
  plant.set(PlantInput::supply_voltage, 7.5);
  plant.advance_to(plant.now() + 1s);
  CHECK_FALSE(plant.unit_speaks());
  plant.set(PlantInput::supply_voltage, 13.5);
  plant.advance_to(plant.now() + 100ms);
  CHECK(plant.read(PlantOutput::unit_state) == 1.0);
  plant.advance_to(plant.now() + 1s);
  CHECK(plant.read(PlantOutput::unit_state) == 2.0);
  CHECK(std::abs(plant.actual().road_angle) < 0.2);
  plant.set(PlantInput::unit_ignition, 0.0);
  plant.advance_to(plant.now() + 10ms);
  CHECK_FALSE(plant.unit_speaks());
}

TEST_CASE("a command that is no number changes nothing") {
  Plant plant{linear(), 1};
  plant.set(PlantInput::hand_mode, 1.0);
  plant.set(PlantInput::hand_angle_cmd, 10.0);
  plant.set(PlantInput::hand_angle_cmd, std::numeric_limits<double>::quiet_NaN());
  plant.set(PlantInput::hand_angle_cmd, std::numeric_limits<double>::infinity());
  plant.advance_to(plant.now() + 2s);
  CHECK(plant.actual().hand_angle == Approx(10.0).margin(0.01));
}

TEST_CASE("ports are found by the names of the demo bench's signals") {
  CHECK(find_plant_input("hand.mode") == PlantInput::hand_mode);
  CHECK(find_plant_input("supply.output") == PlantInput::supply_output);
  CHECK(find_plant_output("supply.current") == PlantOutput::supply_current);
  CHECK_FALSE(find_plant_output("hand.mode"));
}
