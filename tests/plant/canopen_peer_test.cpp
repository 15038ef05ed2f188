// CANopen devices at the plant: what the bench asks of a drive moves the plant, and what the plant does comes back.

#include <algorithm>
#include <nlohmann/json.hpp>

#include "tests/plant/both_ends.hpp"

using namespace trackrod;
using trackrod::test::Both;
using namespace std::chrono_literals;

namespace {

// The demo bench with a CANopen drive on the hand wheel, whose angle it also tells; positions in 0.001 deg, velocities
// in 0.001 deg/s, torques in thousandths of 10 Nm.
Sources hand_drive_bench() {
  auto bench = nlohmann::json::parse(test::demo_text(), nullptr, true, true);
  bench["devices"]["hand"] = nlohmann::json::parse(R"({
    "link": {"kind": "can", "interface": "vcan0"},
    "protocol": {"kind": "canopen", "node": 9, "profile": 402, "sync": true, "cycle": "1 ms",
      "heartbeat": {"every": "10 ms", "lost_after": "50 ms"},
      "own_heartbeat": {"node": 127, "every": "10 ms", "lost_after": "50 ms"},
      "identity": {"vendor": 77, "name": "axis"},
      "read": {"angle": {"object": "6064:00", "type": "i32", "scale": 0.001},
               "speed": {"object": "606C:00", "type": "i32", "scale": 0.001},
               "torque": {"object": "6077:00", "type": "i16", "scale": 0.01}},
      "drive": {"angle_cmd": {"object": "607A:00", "type": "i32", "scale": 0.001},
                "speed_cmd": {"object": "60FF:00", "type": "i32", "scale": 0.001},
                "torque_cmd": {"object": "6071:00", "type": "i16", "scale": 0.01}}},
    "timeout": "100 ms"})");
  auto& signals = bench["signals"];
  for (const auto* name : {"fault.relay", "fault.feed"}) signals.erase(name);  // of the drive that this one replaces
  bench["fixture"]["wires"].erase("sensor_feed");
  bench.erase("faults");
  std::erase_if(bench["safe_state"]["do"].get_ref<nlohmann::json::array_t&>(),
                [](const nlohmann::json& step) { return step.contains("set") && step["set"] == "fault.relay"; });
  const auto own = [](const char* field, const char* direction, const char* low, const char* high) {
    nlohmann::json signal{{"device", "hand"}, {"unit", "1"}, {"direction", direction}, {"range", {low, high}}};
    signal["field"] = field;
    if (std::string{direction} == "read") signal["bench_owned"] = true;
    return signal;
  };
  signals["hand.state"] = own("drive_state", "read", "0", "7");
  signals["hand.mode"] = own("drive_mode", "drive", "0", "10");
  signals["hand.mode"]["rest"] = "0";
  signals["hand.wanted"] = own("drive_wanted", "drive", "1", "5");
  signals["hand.wanted"]["rest"] = "1";
  signals["hand.speed_cmd"] = own("speed_cmd", "drive", "0", "100");
  signals["hand.speed_cmd"]["unit"] = "deg/s";
  signals["hand.speed_cmd"]["range"] = {"-100 deg/s", "100 deg/s"};
  signals["hand.speed_cmd"]["rest"] = "0 deg/s";
  signals["hand.torque_cmd"]["range"] = {"-10 Nm", "10 Nm"};
  bench["axes"]["hand_wheel"]["modes"] = {{"position", {{"code", 8}, {"setpoint", "hand.angle_cmd"}}},
                                          {"velocity", {{"code", 9}, {"setpoint", "hand.speed_cmd"}}},
                                          {"torque", {{"code", 10}, {"setpoint", "hand.torque_cmd"}}}};
  return {{"bench.json", bench.dump()}};
}

void enable(Both& both, int mode) {
  both.drive("hand.mode", mode);
  both.drive("hand.wanted", 1.0);
  both.run(50ms);
  both.drive("hand.wanted", 4.0);
  both.run(50ms);
}

}  // namespace

TEST_CASE("a CANopen drive turns the hand wheel in each cyclic mode, and only when it is enabled") {
  Both both{Truth{}, hand_drive_bench()};
  both.run(300ms);
  CHECK(both.value("hand.state") == 1.0);
  both.drive("hand.angle_cmd", 20.0);
  both.drive("hand.speed_cmd", 0.0);
  both.drive("hand.torque_cmd", 0.0);
  both.drive("hand.mode", 8.0);
  both.run(500ms);
  CHECK(both.plant().actual().hand_angle == Approx(0.0).margin(0.001));
  enable(both, 8);
  both.run(1s);
  CHECK(both.value("hand.state") == 4.0);
  CHECK(both.plant().actual().hand_angle == Approx(20.0).margin(0.1));
  CHECK(both.value("hand.angle") == Approx(both.plant().actual().hand_angle).margin(0.03));

  both.drive("hand.mode", 9.0);
  both.run(20ms);
  both.drive("hand.speed_cmd", -30.0);
  both.run(1s);
  CHECK(both.plant().actual().hand_angle == Approx(-10.0).margin(1.0));
  CHECK(both.value("hand.speed") == Approx(-30.0).margin(3.0));
  both.drive("hand.speed_cmd", 0.0);
  both.run(200ms);

  // Through friction and the brake of a disabled drive nothing moves; a torque beyond friction does.
  both.drive("hand.torque_cmd", 2.0);
  both.drive("hand.mode", 10.0);
  both.run(300ms);
  CHECK(both.value("hand.torque") == Approx(2.0).margin(0.1));
  CHECK(both.plant().actual().hand_speed > 50.0);
  both.drive("hand.wanted", 1.0);
  both.run(500ms);
  CHECK(both.value("hand.state") == 1.0);
  CHECK(both.plant().actual().hand_speed == Approx(0.0).margin(0.01));
}

TEST_CASE("when the bench falls silent a CANopen drive stops, and stays off when the bench is back") {
  Both both{Truth{}, hand_drive_bench()};
  both.run(300ms);
  for (const auto* signal : {"hand.angle_cmd", "hand.speed_cmd", "hand.torque_cmd"}) both.drive(signal, 0.0);
  enable(both, 9);
  both.drive("hand.speed_cmd", 40.0);
  both.run(500ms);
  REQUIRE(both.plant().actual().hand_speed > 30.0);
  both.run(200ms, true);
  CHECK(both.plant().actual().hand_speed == Approx(0.0).margin(0.01));
  both.run(500ms);
  CHECK(both.value("hand.state") == 1.0);
  CHECK(both.plant().actual().hand_speed == Approx(0.0).margin(0.01));
}

TEST_CASE("on the demo's CANopen bench the load actuator pushes, and the encoder shows the road wheel") {
  const auto sources = load_bench_sources(TRACKROD_SOURCE_DIR "/fixtures/demo_bench/bench-canopen.json");
  REQUIRE(sources);
  Both both{Truth{}, *sources};
  both.drive("road.drive_mode", 10.0);
  both.arm();
  both.drive("road.drive_wanted", 1.0);
  both.drive("hand.mode", 1.0);
  both.drive("hand.angle_cmd", 60.0);
  both.drive("road.load_cmd", 500.0);
  both.run(1s);
  CHECK(both.plant().actual().load == 0.0);  // not enabled
  both.drive("road.drive_wanted", 4.0);
  both.run(1s);
  CHECK(both.value("road.drive_state") == 4.0);
  CHECK(both.value("road.nmt_state") == 5.0);
  const auto actual = both.plant().actual();
  CHECK(actual.load == Approx(500.0).margin(0.1));
  CHECK(both.value("road.force") == Approx(500.0).margin(30.0));
  CHECK(actual.road_angle > 5.0);
  CHECK(both.value("road.angle") == Approx(actual.road_angle).margin(0.015));
}

TEST_CASE("a CANopen device of a profile that is not simulated is refused, and so is an encoder without an angle") {
  const auto refusal = [](const std::string& profile, const std::string& object) {
    auto sources = hand_drive_bench();
    auto bench = nlohmann::json::parse(sources[0].second);
    auto& protocol = bench["devices"]["hand"]["protocol"];
    protocol = nlohmann::json::parse(R"({"kind": "canopen", "node": 9, "profile": )" + profile +
                                     R"(, "read": {"angle": {"object": ")" + object +
                                     R"(", "type": "i32", "scale": 0.001}}})");
    auto& signals = bench["signals"];
    for (const auto* name : {"hand.torque", "hand.speed", "hand.state", "hand.mode", "hand.wanted", "hand.speed_cmd",
                             "hand.torque_cmd", "hand.angle_cmd"})
      signals.erase(name);
    bench.erase("axes");
    bench.erase("faults");
    bench.erase("load");
    bench["interlocks"] = nlohmann::json::object();
    bench["safe_state"]["do"] = nlohmann::json::parse(R"([
      {"set": "supply.output", "to": "0"}, {"wait": "supply.current", "at_most": "0.5 A", "within": "300 ms"}])");
    const auto parsed = test::parse(Sources{{"bench.json", bench.dump()}});
    INFO(parsed.sentences());
    REQUIRE(parsed.bench);
    std::vector<std::unique_ptr<Link>> far_ends;
    for (const auto& wire : make_wires(*parsed.bench, 1)) far_ends.push_back(wire.far_end());
    const auto made = SimulatedBench::make(*parsed.bench, Truth{}, 1, std::move(far_ends), BenchTime{1s});
    REQUIRE_FALSE(made);
    CHECK(made.error().fault == Fault::bad_input);
    return made.error().context;
  };
  CHECK_THAT(refusal("401", "6004:00"), Catch::Contains("device 'hand'") && Catch::Contains("profile 402"));
  CHECK_THAT(refusal("406", "6030:00"), Catch::Contains("6004:00"));
}
