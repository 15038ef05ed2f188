// Seeded defects of the unit: each does what it says, and nothing else. docs/simulated-bench.md.

#include <algorithm>
#include <map>
#include <string>

#include "tests/catch.hpp"
#include "tests/plant/rig.hpp"

using namespace trackrod;
using namespace trackrod::rig;

namespace {

constexpr double held = 60.0, far_out = 120.0;  // deg at the hand wheel

// What a bench can see of a fault, in steps that no scatter crosses.
using Seen = std::map<std::string, double>;

double at(const Plant& plant, PlantOutput output) { return plant.read(output); }

void note(const Plant& plant, const std::string& when, Seen& seen) {
  seen["code " + when] = at(plant, PlantOutput::unit_code);
  seen["level " + when] = at(plant, PlantOutput::unit_level);
  // Without what it says of its limits, which depends on the motion.
  seen["warning " + when] = static_cast<double>(static_cast<unsigned>(at(plant, PlantOutput::unit_warning)) & ~3U);
  seen["mode " + when] = at(plant, PlantOutput::unit_mode);
  seen["state " + when] = at(plant, PlantOutput::unit_state);
  seen["rail " + when] = std::round(10.0 * at(plant, PlantOutput::unit_rail));
}

Truth with(Defect defect) {
  auto truth = quiet();
  truth.fault.delay = truth.fault.bounce = 0ms;
  truth.supply.voltage_noise = 0.0;
  truth.defect = defect;
  return truth;
}

void power_all(Plant& plant) {
  plant.set(PlantInput::aux_voltage, 13.2);
  plant.set(PlantInput::backup_voltage, 12.9);
  plant.set(PlantInput::aux_output, 1.0);
  plant.set(PlantInput::backup_output, 1.0);
}

// A fault in that wire while the wheel is held turned, made at 0 and cleared after 2 s.
Seen fault(Defect defect, Wire wire, WireFault kind) {
  Plant plant{with(defect), 1};
  power_all(plant);
  hold_turned(plant, held);
  Seen seen;
  note(plant, "before", seen);
  plant.set(fault_of(wire), static_cast<double>(kind));
  double departure = 0.0;
  const auto look = [&](Duration span) {
    run(plant, span,
        [&](double) { departure = std::max(departure, std::abs(plant.actual().road_angle - held / 8.0)); });
  };
  look(15ms);
  note(plant, "in the changeover", seen);
  look(135ms);
  note(plant, "at once", seen);
  look(650ms);
  note(plant, "later", seen);
  look(1200ms);
  seen["departure"] = std::round(departure / 0.5);
  plant.set(fault_of(wire), 0.0);
  plant.advance_to(plant.now() + 2s);
  note(plant, "after", seen);
  return seen;
}

// No fault: the wheel is turned to one side and back.
Seen turn(Defect defect) {
  Plant plant{with(defect), 1};
  power_all(plant);
  hold_turned(plant, far_out);
  Seen seen;
  note(plant, "turned", seen);
  plant.set(PlantInput::hand_angle_cmd, 0.0);
  plant.advance_to(plant.now() + 300ms);
  note(plant, "back", seen);
  plant.advance_to(plant.now() + 2s);
  note(plant, "at rest", seen);
  return seen;
}

// What differs from the unit without a defect.
std::vector<std::string> differences(const Seen& sound, const Seen& defective) {
  std::vector<std::string> names;
  for (const auto& [name, value] : sound)
    if (defective.at(name) != value) names.push_back(name);
  return names;
}

using Names = std::vector<std::string>;

// "code at once" and so on.
Names told(const std::vector<std::string>& when, const std::vector<std::string>& what = {"code", "level", "warning"}) {
  Names names;
  for (const auto& w : what)
    for (const auto& t : when) names.push_back(w + " " + t);
  std::ranges::sort(names);
  return names;
}

Names joined(Names names, const Names& more) {
  names.insert(names.end(), more.begin(), more.end());
  std::ranges::sort(names);
  return names;
}

struct Row {
  Defect defect;
  Names hand_a, motor_2, feed_main, healthy;  // what it changes of these
};

}  // namespace

TEST_CASE("a seeded defect changes what it says, for the faults that it says, and nothing else") {
  const std::vector<std::string> soon{"at once"}, on{"at once", "later"}, ever{"at once", "later", "after"};
  const std::vector<Row> rows{
      {Defect::none, {}, {}, {}, {}},
      {Defect::late_warning, told(soon), told(soon), told(soon), {}},
      {Defect::missing_warning, told(on), told(ever), told(on), {}},
      {Defect::wrong_code, told(on, {"code"}), told(ever, {"code"}), told(on, {"code"}), {}},
      {Defect::false_warning, {}, {}, {}, told({"back"})},
      {Defect::no_recovery, told({"after"}, {"code", "level", "mode", "warning"}), {}, told({"after"}), {}},
      {Defect::too_much_motion, {"departure", "mode at once"}, {"mode at once"}, {}, {}},
      {Defect::wrong_changeover, {}, {}, {"rail at once", "rail in the changeover", "rail later"}, {}},
      {Defect::brown_out_reset, {}, {}, joined(told(soon), {"state at once", "state in the changeover"}), {}},
      {Defect::half_unnoticed, {}, told(ever, {"code", "level", "mode", "warning"}), {}, {}},
      // What stays until the next ignition is not told again.
      {Defect::warning_clears, told({"later"}), told({"later", "after"}), told({"later"}), {}},
  };
  const auto hand_a = [](Defect defect) { return fault(defect, Wire::hand_a, WireFault::ground); };
  const auto motor_2 = [](Defect defect) { return fault(defect, Wire::motor_2, WireFault::open); };
  const auto feed_main = [](Defect defect) { return fault(defect, Wire::feed_main, WireFault::open); };
  for (const auto& row : rows) {
    CAPTURE(static_cast<int>(row.defect));
    CHECK(differences(hand_a(Defect::none), hand_a(row.defect)) == row.hand_a);
    CHECK(differences(motor_2(Defect::none), motor_2(row.defect)) == row.motor_2);
    CHECK(differences(feed_main(Defect::none), feed_main(row.defect)) == row.feed_main);
    CHECK(differences(turn(Defect::none), turn(row.defect)) == row.healthy);
  }
}
