// Three feeds, and the unit's choice among them. docs/simulated-bench.md.

#include <algorithm>

#include "tests/catch.hpp"
#include "tests/plant/rig.hpp"

using namespace trackrod;
using namespace trackrod::rig;

namespace {

Truth at_once() {
  auto truth = quiet();
  truth.fault.delay = truth.fault.bounce = 0ms;
  truth.supply.voltage_noise = truth.supply.current_noise = 0.0;
  truth.supply.resistance = 1e-4;
  return truth;
}

// A voltage for each, so that they can be told apart.
constexpr double main_volts = 13.5, aux_volts = 13.2, backup_volts = 12.9;

void power_all(Plant& plant) {
  plant.set(PlantInput::aux_voltage, aux_volts);
  plant.set(PlantInput::backup_voltage, backup_volts);
  for (const auto output : {PlantInput::aux_output, PlantInput::backup_output}) plant.set(output, 1.0);
  power_up(plant, main_volts);
}

double rail(const Plant& plant) { return plant.read(PlantOutput::unit_rail); }
double code(const Plant& plant) { return plant.read(PlantOutput::unit_code); }
void make(Plant& plant, Wire wire, WireFault fault) { plant.set(fault_of(wire), static_cast<double>(fault)); }

// ms until the rail is at that voltage.
double ms_until_rail(Plant& plant, double volts) {
  return ms_until(plant, [&] { return std::abs(rail(plant) - volts) < 0.05; });
}

}  // namespace

TEST_CASE("the unit lives on the first feed that is good, and takes its current from there") {
  Plant plant{at_once(), 1};
  power_all(plant);
  CHECK(rail(plant) == Approx(main_volts).margin(0.01));
  CHECK(plant.read(PlantOutput::supply_current) == Approx(1.2 + main_volts / 50.0).margin(0.01));
  CHECK(plant.read(PlantOutput::aux_current) == Approx(aux_volts / 50.0).margin(0.01));
  CHECK(plant.read(PlantOutput::backup_current) == Approx(backup_volts / 50.0).margin(0.01));
  CHECK(plant.read(PlantOutput::aux_voltage) == Approx(aux_volts).margin(0.01));
  CHECK(plant.read(PlantOutput::backup_voltage) == Approx(backup_volts).margin(0.01));
  make(plant, Wire::feed_main, WireFault::open);
  plant.advance_to(plant.now() + 100ms);
  CHECK(rail(plant) == Approx(aux_volts).margin(0.01));
  CHECK(plant.read(PlantOutput::supply_current) == Approx(main_volts / 50.0).margin(0.01));
  CHECK(plant.read(PlantOutput::aux_current) == Approx(1.2 + aux_volts / 50.0).margin(0.01));
  make(plant, Wire::feed_aux, WireFault::open);
  plant.advance_to(plant.now() + 100ms);
  CHECK(rail(plant) == Approx(backup_volts).margin(0.01));
  CHECK(plant.read(PlantOutput::backup_current) == Approx(1.2 + backup_volts / 50.0).margin(0.01));
  CHECK(plant.read(PlantOutput::unit_state) == 2.0);
}

TEST_CASE("over a changeover its own capacitance feeds the unit, and sinks by I t / C") {
  auto truth = at_once();
  truth.feeds.detect = GENERATE(2ms, 5ms);
  truth.feeds.interruption = GENERATE(1ms, 3ms);
  Plant plant{truth, 1};
  power_all(plant);
  make(plant, Wire::feed_main, WireFault::open);
  double lowest = rail(plant);
  const double took = ms_until(plant, [&] {
    lowest = std::min(lowest, rail(plant));
    return std::abs(rail(plant) - aux_volts) < 0.01 && lowest < aux_volts - 0.05;
  });
  const double off = 1e3 * seconds(truth.feeds.detect + truth.feeds.interruption);
  CHECK(took == Approx(off).margin(0.25));
  CHECK(lowest == Approx(main_volts - 1.2 * 1e-3 * off / 0.004).margin(0.05));  // textbook: C dV/dt = -I
  CHECK(plant.read(PlantOutput::unit_state) == 2.0);
}

TEST_CASE("a changeover that the capacitance cannot bridge stops the unit, which starts again on the next feed") {
  auto truth = at_once();
  truth.feeds.interruption = 50ms;
  Plant plant{truth, 1};
  power_all(plant);
  make(plant, Wire::feed_main, WireFault::ground);
  plant.advance_to(plant.now() + 40ms);
  CHECK_FALSE(plant.unit_speaks());
  plant.advance_to(plant.now() + 1s);
  CHECK(plant.read(PlantOutput::unit_state) == 2.0);
  CHECK(rail(plant) == Approx(aux_volts).margin(0.01));
}

TEST_CASE("a better feed is gone back to after it was good for long enough") {
  Plant plant{at_once(), 1};
  power_all(plant);
  make(plant, Wire::feed_main, WireFault::open);
  plant.advance_to(plant.now() + 500ms);
  make(plant, Wire::feed_main, WireFault::intact);
  CHECK(ms_until_rail(plant, main_volts) == Approx(200.0 + 2.0).margin(0.25));
}

TEST_CASE("what the bench measures at a feed's wire, and what the unit makes of it") {
  struct Row {
    Wire wire;
    WireFault fault;
    double volts, rail;
    int code;
  };
  const std::vector<Row> rows{
      {Wire::feed_main, WireFault::intact, main_volts, main_volts, 0},
      {Wire::feed_main, WireFault::open, 1.0, aux_volts, 71},
      {Wire::feed_main, WireFault::ground, 0.0, aux_volts, 71},
      {Wire::feed_main, WireFault::supply, 12.0, 12.0, 0},
      {Wire::feed_main, WireFault::neighbour, aux_volts, aux_volts, 0},
      {Wire::feed_main, WireFault::resistance, 0.8 * main_volts, aux_volts, 71},
      {Wire::feed_aux, WireFault::open, 1.0, main_volts, 72},
      {Wire::feed_aux, WireFault::ground, 0.0, main_volts, 72},
      {Wire::feed_aux, WireFault::supply, 12.0, main_volts, 0},
      {Wire::feed_aux, WireFault::neighbour, main_volts, main_volts, 0},
      {Wire::feed_aux, WireFault::resistance, 0.8 * aux_volts, main_volts, 72},
      {Wire::feed_backup, WireFault::open, 1.0, main_volts, 73},
      {Wire::feed_backup, WireFault::ground, 0.0, main_volts, 73},
      {Wire::feed_backup, WireFault::supply, 12.0, main_volts, 0},
      {Wire::feed_backup, WireFault::neighbour, aux_volts, main_volts, 0},
      {Wire::feed_backup, WireFault::resistance, 0.8 * backup_volts, main_volts, 73},
  };
  for (const auto& row : rows) {
    CAPTURE(wire_names[static_cast<std::size_t>(row.wire)].fault, static_cast<int>(row.fault));
    Plant plant{at_once(), 1};
    power_all(plant);
    make(plant, row.wire, row.fault);
    if (row.code != 0) {
      const double found = ms_until(plant, [&] { return code(plant) != 0.0; });
      CHECK(found >= 10.0 * (3 - 1) - 0.2);
      CHECK(found <= 10.0 * 3 + 0.2);
    }
    plant.advance_to(plant.now() + 200ms);
    CHECK(plant.read(volts_of(row.wire)) == Approx(row.volts).margin(0.01));
    CHECK(rail(plant) == Approx(row.rail).margin(0.01));
    CHECK(code(plant) == row.code);
    CHECK(plant.read(PlantOutput::unit_level) == (row.code == 0 ? 0.0 : 1.0));
    CHECK(plant.read(PlantOutput::unit_mode) == 0.0);
    CHECK(plant.read(PlantOutput::unit_warning) == (row.code == 0 ? 0.0 : 512.0));
    make(plant, row.wire, WireFault::intact);
    plant.advance_to(plant.now() + 1s);
    CHECK(code(plant) == 0.0);
    CHECK(rail(plant) == Approx(main_volts).margin(0.01));
  }
}

TEST_CASE("an only feed is neither watched nor held up") {
  Plant plant{at_once(), 1};
  power_up(plant);
  plant.set(PlantInput::supply_voltage, 7.0);
  for (int i = 0; i < 100; ++i) {
    plant.advance_to(plant.now() + 1ms);
    REQUIRE(rail(plant) == plant.read(PlantOutput::supply_voltage));
  }
  plant.advance_to(plant.now() + 1s);
  CHECK(rail(plant) == Approx(7.0).margin(0.01));
  CHECK(code(plant) == 0.0);
  CHECK(plant.read(PlantOutput::unit_warning) == warning_low_supply);
}
