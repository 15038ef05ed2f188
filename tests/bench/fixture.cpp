// How the unit is held, and the equipment: what is taken from the file, and what is refused.

#include "tests/bench/demo.hpp"
#include "tests/catch.hpp"

using namespace trackrod;
using namespace trackrod::test;

namespace {

Parsed changed(const std::string& old, const std::string& fresh) {
  auto text = demo_text();
  const auto at = text.find(old);
  REQUIRE(at != std::string::npos);
  return parse(text.replace(at, old.size(), fresh));
}

}  // namespace

TEST_CASE("the fixture is kept as it is written") {
  const auto read = parse(demo_text());
  REQUIRE(read.bench);
  const auto& f = read.bench->fixture;
  REQUIRE(f.clamped.size() == 2);
  CHECK(f.clamped[0].part == "hand_wheel_module");
  REQUIRE(f.clamped[0].stiffness);
  CHECK(f.clamped[0].stiffness->value == 900);
  CHECK(f.clamped[0].stiffness->unit.text() == "Nm/rad");
  CHECK_FALSE(f.clamped[1].inertia);
  REQUIRE(f.equipment.size() == 3);
  CHECK(f.equipment[0].name == "hand_torque_sensor");
  CHECK(f.equipment[0].serial == "demo-T-07");
  CHECK(f.equipment[0].due == "2027-11-02");
  CHECK(f.equipment[2].due.empty());
}

TEST_CASE("a fixture that makes no sense is told with its place") {
  const auto told = [](const std::string& old, const std::string& fresh, const std::string& path) {
    const auto read = changed(old, fresh);
    REQUIRE(read.problems.size() == 1);
    CHECK(read.problems.front().at.path == path);
    return read.problems.front().sentence();
  };
  const std::string part = "/fixture/clamped/hand_wheel_module/";
  CHECK(told("900 Nm/rad", "900 Nm", part + "stiffness").find("Nm/rad or in N/m") != std::string::npos);
  CHECK(told("900 Nm/rad", "-900 Nm/rad", part + "stiffness").find("more than 0") != std::string::npos);
  CHECK(told("0.004 kg.m^2", "0.004 s", part + "inertia").find("kg.m^2 or in kg") != std::string::npos);
  CHECK(told("\"serial\": \"demo-P-01\"", "\"due\": \"2027-01-01\"", "/fixture/equipment/supply")
            .find("'serial' is missing") != std::string::npos);
}

TEST_CASE("figures of the rig, its rack curve and its wires are kept as they are written") {
  const auto read = parse(demo_text());
  REQUIRE(read.bench);
  const auto& f = read.bench->fixture;
  REQUIRE(f.measures.size() == 2);
  CHECK(f.measures[0].name == "rim_radius");
  CHECK(f.measures[0].u.value == 0.5);
  REQUIRE(f.rack_curve.size() == 3);
  CHECK(f.rack_curve[2].angle.value == 16.7);
  REQUIRE(f.wires.size() == 2);
  CHECK(read.bench->signals[f.wires[0].signal].info.name == "unit.ignition");
  CHECK(f.wires[0].checked == "2026-11-02");
}

TEST_CASE("a figure, a curve or a wire that makes no sense is told with its place") {
  const auto told = [](const std::string& old, const std::string& fresh, const std::string& path) {
    const auto read = changed(old, fresh);
    INFO((read.problems.empty() ? "" : read.problems.front().sentence()));
    REQUIRE(read.problems.size() == 1);
    CHECK(read.problems.front().at.path == path);
    return read.problems.front().sentence();
  };
  CHECK(told("\"u\": \"0.5 mm\"", "\"u\": \"0.5 s\"", "/fixture/measures/rim_radius/u").find("in m") !=
        std::string::npos);
  CHECK(told("\"u\": \"0.02 kg\"", "\"u\": \"-0.02 kg\"", "/fixture/measures/tie_rod_mass/u").find("0 or more") !=
        std::string::npos);
  CHECK(
      told("\"travel\": \"40 mm\"", "\"travel\": \"-0.05 m\"", "/fixture/rack_curve/2/travel").find("more than the") !=
      std::string::npos);
  CHECK(told("\"signal\": \"unit.ignition\", \"where\"", "\"signal\": \"unit.state\", \"where\"",
             "/fixture/wires/ignition/signal")
            .find("unit.state") != std::string::npos);
  const std::string again =
      "\"twice\": {\"signal\": \"unit.ignition\", \"where\": \"X1\", \"closed\": \"cut\"},\n      ";
  CHECK(told("\"ignition\": {\n        \"signal\"", again + "\"ignition\": {\n        \"signal\"",
             "/fixture/wires/ignition/signal")
            .find("'twice' already") != std::string::npos);
}
