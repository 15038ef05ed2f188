// What the simulated unit does about the faults of messages of the bench for fault campaigns.

#include "tests/plant/both_ends.hpp"

using namespace trackrod;
using trackrod::test::Both;
using namespace std::chrono_literals;

namespace {

// The bench for fault campaigns, with the vehicle at 40 km/h in both messages.
struct Driven : Both {
  Driven() : Both{Truth{}, sources()} {
    drive("vehicle.speed_b", -1.0);
    drive("aux.voltage_cmd", 13.2);
    drive("aux.output", 1.0);
    drive("backup.voltage_cmd", 12.9);
    drive("backup.output", 1.0);
    arm();
    for (double speed = 0.0; speed <= 40.0; speed += 1.0) {  // no faster than a vehicle
      drive("vehicle.speed", speed);
      drive("vehicle.speed_b", speed);
      run(30ms);
    }
    run(1s);
    REQUIRE(value("unit.code") == 0.0);
  }
  static Sources sources() {
    const auto sources = load_bench_sources(TRACKROD_SOURCE_DIR "/fixtures/demo_bench/bench-faults.json");
    REQUIRE(sources);
    return *sources;
  }
  // When the unit first tells a code, after the fault was made; 0: in `span` it does not.
  Duration told_after(Duration span) {
    for (Duration after = 1ms; after <= span; after += 1ms) {
      run(1ms);
      if (value("unit.code") != 0.0) return after;
    }
    return {};
  }
};

}  // namespace

// Expected: docs/simulated-bench.md, from the parameters of the unit's watch over its bus.
TEST_CASE("the unit tells what is wrong with the messages on its bus, and heals once they are right") {
  const auto [fault, code, least, most] = GENERATE(table<std::string, double, Duration, Duration>({
      {"vehicle_dropped", 51, 60ms, 90ms},
      {"vehicle_held_back", 51, 60ms, 90ms},
      {"vehicle_repeated", 51, 60ms, 100ms},
      {"vehicle_miscounted", 51, 60ms, 90ms},
      {"vehicle_corrupted", 51, 60ms, 90ms},
      {"vehicle_too_long", 51, 60ms, 90ms},
      {"vehicle_too_often", 52, 20ms, 50ms},
      {"bus_silent", 51, 60ms, 90ms},
      {"vehicle_babbling", 52, 20ms, 50ms},
  }));
  CAPTURE(fault);
  Driven rig;
  rig.make(fault);
  const auto after = rig.told_after(300ms);
  CHECK(rig.value("unit.code") == code);
  CHECK(after >= least);
  CHECK(after <= most);
  CHECK(rig.value("unit.level") == 2.0);
  rig.run(300ms);
  rig.remove(fault);
  rig.run(600ms);
  CHECK(rig.value("unit.code") == 0.0);
}

TEST_CASE("messages that come late heal the watch over their age: nothing tells that what they say is old") {
  Driven rig;
  rig.make("vehicle_held_back");
  rig.run(200ms);
  CHECK(rig.value("unit.code") == 51.0);
  rig.run(600ms);
  CHECK(rig.value("unit.code") == 0.0);
}

TEST_CASE("messages that come twice, or are missing now and then, are no trouble") {
  for (const auto* fault : {"vehicle_twice", "vehicle_now_and_then"}) {
    CAPTURE(fault);
    Driven rig;
    rig.make(fault);
    for (int turn = 0; turn < 10; ++turn) {
      rig.run(15ms);
      if (std::string{fault} == "vehicle_now_and_then") rig.remove(fault);
      rig.run(35ms);
      CHECK(rig.value("unit.code") == 0.0);
      if (std::string{fault} == "vehicle_now_and_then") rig.make(fault);
    }
  }
}
