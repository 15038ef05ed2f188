// The plant behind the demo bench's own protocols, over wires in memory and in virtual time.

#include "fixtures/simulator/simulated_bench.hpp"

#include <cmath>
#include <map>

#include "drivers/device/device_set.hpp"
#include "fixtures/simulator/run_simulator.hpp"
#include "tests/plant/both_ends.hpp"

using namespace trackrod;
using trackrod::test::Both;
using namespace std::chrono_literals;

namespace {

std::string replaced(std::string text, const std::string& from, const std::string& to) {
  const auto at = text.find(from);
  REQUIRE(at != std::string::npos);
  return text.replace(at, from.size(), to);
}

}  // namespace

TEST_CASE("over the demo bench's links the unit is powered, the wheel is turned, and every sensor tells it") {
  Both both{Truth{}};
  both.arm();
  CHECK(both.settled("supply.voltage_cmd"));
  CHECK(both.value("supply.voltage") == Approx(13.5).margin(0.1));
  CHECK(both.value("supply.current") == Approx(1.2 + 13.5 / 50.0).margin(0.2));
  CHECK(both.value("unit.state") == 2.0);
  CHECK(both.value("unit.warning") == 0.0);
  CHECK(both.value("hand.state") == 0.0);

  both.drive("hand.mode", 1.0);
  both.drive("hand.angle_cmd", 24.0);
  both.drive("road.load_cmd", 500.0);
  both.run(1500ms);
  const auto a = both.plant().actual();
  CHECK(a.hand_angle == Approx(24.0).margin(0.1));
  CHECK(both.value("hand.angle") == Approx(a.hand_angle).margin(0.04));
  CHECK(both.value("hand.speed") == Approx(0.0).margin(2.0));
  CHECK(both.value("hand.torque") == Approx(a.hand_torque).margin(0.08));
  CHECK(both.value("hand.state") == 1.0);
  CHECK(both.value("road.angle") == Approx(a.road_angle).margin(0.015));
  CHECK(both.value("road.force") == Approx(500.0).margin(30.0));
  CHECK(both.value("unit.hand_angle_a") == Approx(a.hand_angle).margin(0.2));
  CHECK(both.value("unit.hand_angle_b") == Approx(a.hand_angle).margin(0.2));
  CHECK(both.value("unit.road_angle") == Approx(a.motor_angle).margin(0.06));
}

TEST_CASE("the bench's unit and calibration of a signal are undone on the wire, so that the bench reads what is so") {
  auto text = replaced(test::demo_text(), R"("gain": 1.0, "offset": "0 deg", "u": "0.01 deg")",
                       R"("gain": 1.25, "offset": "3 deg", "u": "0.01 deg")");
  text = replaced(
      text,
      R"("device": "road", "field": "load_cmd", "unit": "N", "direction": "drive", "range": ["-6000 N", "6000 N"])",
      R"("device": "road", "field": "load_cmd", "unit": "kN", "direction": "drive", "range": ["-6 kN", "6 kN"])");
  Both both{Truth{}, {{"bench.json", text}}};
  both.arm();
  both.drive("hand.mode", 1.0);
  both.drive("hand.angle_cmd", 24.0);
  both.drive("road.load_cmd", 0.5);
  both.run(1500ms);
  CHECK(both.value("hand.angle") == Approx(both.plant().actual().hand_angle).margin(0.04));
  CHECK(both.plant().actual().load == Approx(500.0).margin(0.2));
}

TEST_CASE("when the bench falls silent the drive stops by itself, and says so") {
  Both both{Truth{}};
  both.arm();
  both.drive("hand.mode", 1.0);
  both.drive("hand.angle_cmd", 90.0);
  both.run(1s);
  REQUIRE(std::abs(both.plant().actual().hand_speed) > 10.0);
  both.run(150ms, true);
  CHECK(both.value("hand.state") == drive_timed_out);
  CHECK(both.plant().actual().hand_speed == 0.0);
  // Commands alone do not bring it back; being told to stop does.
  both.run(200ms);
  CHECK(both.value("hand.state") == drive_timed_out);
  both.drive("hand.mode", 0.0);
  both.run(50ms);
  CHECK(both.value("hand.state") == 0.0);
}

TEST_CASE("with the time-out set to never the drive obeys its last command") {
  Truth truth;
  truth.drive.command_timeout = never;
  Both both{truth};
  both.arm();
  both.drive("hand.mode", 1.0);
  both.drive("hand.angle_cmd", 30.0);
  both.run(100ms);
  both.run(2s, true);
  CHECK(both.value("hand.state") == 1.0);
  CHECK(both.plant().actual().hand_angle == Approx(30.0).margin(0.1));
}

TEST_CASE("a unit without power has no values, and its bus interface says that it is off") {
  Both both{Truth{}};
  both.arm();
  both.drive("supply.output", 0.0);
  both.run(2s);
  CHECK(both.value("unit.state") == 0.0);
  CHECK(std::isnan(both.value("unit.warning")));
  CHECK(both.value("supply.voltage") < 6.5);
}

TEST_CASE("the watcher hears each change of a command once, in order") {
  Both both{Truth{}};
  std::vector<std::pair<PlantInput, double>> heard;
  both.simulated().watch([&](const Plant&, PlantInput input, double value) { heard.emplace_back(input, value); });
  both.arm();
  heard.clear();
  both.drive("hand.mode", 1.0);
  both.run(20ms);
  both.drive("hand.angle_cmd", 5.0);
  both.run(20ms);
  both.drive("hand.mode", 0.0);
  both.run(20ms);
  const std::vector<std::pair<PlantInput, double>> expected{
      {PlantInput::hand_mode, 1.0}, {PlantInput::hand_angle_cmd, 5.0}, {PlantInput::hand_mode, 0.0}};
  CHECK(heard == expected);
}

TEST_CASE("a late turn neither shifts the messages' cycle nor makes up for missed ones") {
  const auto parsed = test::parse(test::demo_text());
  REQUIRE(parsed.bench);
  CHECK(simulator_period(*parsed.bench) == 1ms);
  std::vector<std::unique_ptr<Link>> near_ends, far_ends;
  for (const auto& wire : make_wires(*parsed.bench, 1)) {
    near_ends.push_back(wire.bench_end());
    far_ends.push_back(wire.far_end());
  }
  auto simulated = SimulatedBench::make(*parsed.bench, Truth{}, 1, std::move(far_ends), BenchTime{1s});
  REQUIRE(simulated);
  const auto frames_in = [&](Duration until) {
    std::array<std::byte, 2048> bytes{};
    int frames = 0;
    while (near_ends[0]->receive(bytes, BenchTime{until}).state == Received::State::bytes) ++frames;
    return frames;
  };
  for (int i = 0; i < 100; ++i)
    (*simulated)->step(VirtualTime{BenchTime{1s + i * 1ms + (i % 3) * 300us}}, BenchTime{1s + i * 1ms});
  CHECK(frames_in(1200ms) == 100);
  (*simulated)->step(VirtualTime{BenchTime{1350ms + 200us}}, BenchTime{1350ms});
  (*simulated)->step(BenchTime{1351ms});
  CHECK(frames_in(1400ms) == 2);
  CHECK((*simulated)->plant().now() == BenchTime{1351ms});
}

TEST_CASE("a bench with a signal that is not simulated is refused, with the nearest one named") {
  auto text = test::demo_text();
  for (auto at = text.find("\"road.force\""); at != std::string::npos; at = text.find("\"road.force\"", at))
    text.replace(at, 12, "\"road.farce\"");
  text = replaced(text, "\"road_force\": {\n      \"signal\": \"road.farce\"",
                  "\"road_force\": {\n      \"signal\": \"road.farce\"");
  const auto parsed = test::parse(text);
  INFO(parsed.sentences());
  REQUIRE(parsed.bench);
  std::vector<std::unique_ptr<Link>> far_ends;
  for (const auto& wire : make_wires(*parsed.bench, 1)) far_ends.push_back(wire.far_end());
  const auto made = SimulatedBench::make(*parsed.bench, Truth{}, 1, std::move(far_ends), BenchTime{1s});
  REQUIRE_FALSE(made);
  CHECK(made.error().fault == Fault::bad_input);
  CHECK_THAT(made.error().context, Catch::Contains("device 'road'") && Catch::Contains("did you mean 'road.force'?"));
}
