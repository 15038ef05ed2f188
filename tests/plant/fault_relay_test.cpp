// A sensor that loses its feed while the unit steers, and what the unit does about it. docs/simulated-bench.md.

#include "tests/catch.hpp"
#include "tests/plant/rig.hpp"

using namespace trackrod;
using namespace trackrod::rig;

namespace {

constexpr double held = 60.0;  // deg at the hand wheel

}  // namespace

TEST_CASE("the feed breaks after the relay's delay, bounces, and stays away") {
  Plant plant{quiet(), 1};
  hold_turned(plant, held);
  CHECK(plant.read(PlantOutput::fault_feed) == Approx(5.0));
  plant.set(PlantInput::fault_relay, 1.0);
  const auto from = plant.now();
  std::vector<double> changes;
  double last = 5.0;
  while (plant.now() < from + 20ms) {
    plant.advance_to(plant.now() + 50us);
    const double feed = plant.read(PlantOutput::fault_feed);
    if (std::abs(feed - last) > 2.5) {
      changes.push_back(1e3 * seconds(plant.now() - from));
      last = feed;
    }
  }
  REQUIRE(changes.size() == 3);  // break, back, break: 4 ms, and two thirds of 1.5 ms
  CHECK(changes[0] == Approx(4.0).margin(0.15));
  CHECK(changes[1] == Approx(4.5).margin(0.15));
  CHECK(changes[2] == Approx(5.0).margin(0.15));
}

TEST_CASE(
    "a lost sensor is found after the comparisons that it takes; the road wheel departs until then, and returns") {
  auto truth = quiet();
  truth.fault.bounce = 0ms;
  truth.monitor.confirm = GENERATE(3, 6);
  Plant plant{truth, 1};
  hold_turned(plant, held);
  const double road = held / truth.ratio.standstill;
  REQUIRE(plant.actual().road_angle == Approx(road).margin(0.01));
  plant.set(PlantInput::fault_relay, 1.0);
  plant.advance_to(plant.now() + 4ms);
  const double found = ms_until(plant, [&] { return plant.read(PlantOutput::unit_warning) >= 4.0; });
  // The sensors are seen 2 ms late; comparisons come every 10 ms.
  CHECK(found >= 2.0 + 10.0 * (truth.monitor.confirm - 1) - 0.2);
  CHECK(found <= 2.0 + 10.0 * truth.monitor.confirm + 0.2);
  // It runs at its limit of 60 deg/s, and takes some 30 ms to get there.
  CHECK(plant.actual().road_angle < road - 0.06 * (found - 30.0));
  CHECK(plant.actual().road_angle > road - 0.06 * found);
  CHECK(plant.read(PlantOutput::unit_hand_angle_a) == Approx(0.0).margin(1e-9));
  CHECK(plant.read(PlantOutput::unit_hand_angle_b) == Approx(held + truth.hand.offset_b).margin(0.05));
  plant.advance_to(plant.now() + 2s);
  CHECK(plant.actual().road_angle == Approx(0.95 * road).margin(0.01));

  plant.set(PlantInput::fault_relay, 0.0);
  plant.advance_to(plant.now() + 4ms);
  const double healed = ms_until(plant, [&] { return plant.read(PlantOutput::unit_warning) < 4.0; });
  CHECK(healed >= 2.0 + 10.0 * (truth.monitor.heal - 1) - 0.2);
  CHECK(healed <= 2.0 + 10.0 * truth.monitor.heal + 0.2);
  plant.advance_to(plant.now() + 2s);
  CHECK(plant.actual().road_angle == Approx(road).margin(0.01));
}

TEST_CASE("straight ahead a lost sensor is not found, since it shows what is so") {
  Plant plant{quiet(), 1};
  power_up(plant);
  plant.set(PlantInput::fault_relay, 1.0);
  plant.advance_to(plant.now() + 2s);
  CHECK(plant.read(PlantOutput::unit_warning) == 0.0);
}
