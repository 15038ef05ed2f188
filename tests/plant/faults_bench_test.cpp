// The bench for fault campaigns: relay box, three supplies and what the unit tells, over its own protocols.

#include "tests/plant/both_ends.hpp"

using namespace trackrod;
using trackrod::test::Both;
using namespace std::chrono_literals;

namespace {

Sources faults_bench() {
  const auto sources = load_bench_sources(TRACKROD_SOURCE_DIR "/fixtures/demo_bench/bench-faults.json");
  REQUIRE(sources);
  return *sources;
}

void arm_all(Both& both) {
  for (std::size_t wire = 0; wire < wire_count; ++wire) both.drive(std::string{wire_names[wire].fault}, 0.0);
  both.drive("fault.relay", 0.0);
  both.drive("vehicle.speed_b", -1.0);
  both.drive("aux.voltage_cmd", 13.2);
  both.drive("aux.output", 1.0);
  both.drive("backup.voltage_cmd", 12.9);
  both.drive("backup.output", 1.0);
  both.arm();
}

}  // namespace

TEST_CASE("over the box each wire is broken and measured, and its own alone") {
  for (std::size_t wire = 0; wire < wire_count; ++wire) {
    CAPTURE(wire_names[wire].fault);
    Both both{Truth{}, faults_bench()};
    arm_all(both);
    both.drive(std::string{wire_names[wire].fault}, 2.0);
    both.run(20ms);
    for (std::size_t other = 0; other < wire_count; ++other)
      CHECK((both.value(std::string{wire_names[other].volts}) < 0.2) == (other == wire));
  }
}

TEST_CASE("the three supplies are set and measured each over its own line, and the rail shows which one is lived on") {
  Both both{Truth{}, faults_bench()};
  arm_all(both);
  CHECK(both.value("supply.voltage") == Approx(13.5).margin(0.05));
  CHECK(both.value("aux.voltage") == Approx(13.2).margin(0.05));
  CHECK(both.value("backup.voltage") == Approx(12.9).margin(0.05));
  CHECK(both.value("supply.current") > 1.0);
  CHECK(both.value("aux.current") < 0.5);
  CHECK(both.value("backup.current") < 0.5);
  CHECK(both.value("unit.rail") == Approx(13.5).margin(0.1));
  both.drive("supply.output", 0.0);
  both.run(300ms);
  CHECK(both.value("unit.rail") == Approx(13.2).margin(0.1));
  CHECK(both.value("aux.current") > 1.0);
  CHECK(both.value("unit.code") == 71.0);
  CHECK(both.value("unit.level") == 1.0);
  CHECK(both.value("unit.state") == 2.0);
  for (const auto* output : {"aux.output", "backup.output"}) both.drive(output, 0.0);
  both.run(2s);
  CHECK(both.value("unit.state") == 0.0);
  CHECK(both.value("unit.rail") < 6.5);  // the bench still measures it
}

TEST_CASE("the unit tells code, level, mode and both road-angle sensors over the bus") {
  Both both{Truth{}, faults_bench()};
  arm_all(both);
  both.drive("hand.mode", 1.0);
  both.drive("hand.angle_cmd", 60.0);
  both.run(2s);
  CHECK(both.value("unit.road_angle") == Approx(60.0 / 8.0).margin(0.3));
  CHECK(both.value("unit.road_angle_b") == Approx(60.0 / 8.0).margin(0.3));
  CHECK(both.value("unit.code") == 0.0);
  both.drive("fault.road_b", 3.0);
  both.run(200ms);
  CHECK(both.value("unit.road_angle_b") == 800.0);
  CHECK(both.value("unit.code") == 22.0);
  CHECK(both.value("unit.level") == 2.0);
  CHECK(both.value("unit.mode") == 2.0);
  CHECK(both.value("unit.warning") == 8.0);
}

TEST_CASE("once the second message says a speed the unit compares the two") {
  Both both{Truth{}, faults_bench()};
  arm_all(both);
  both.run(500ms);
  CHECK(both.value("unit.code") == 0.0);
  both.drive("vehicle.speed_b", 0.0);
  both.run(500ms);
  CHECK(both.value("unit.code") == 0.0);
  both.drive("vehicle.speed_b", 10.0);
  both.run(100ms);
  CHECK(both.value("unit.code") == 53.0);
  both.run(200ms, true);
  CHECK(both.value("unit.code") == 51.0);
}
