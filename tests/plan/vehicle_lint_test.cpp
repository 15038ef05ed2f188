#include "harness/plan/vehicle_lint.hpp"

#include "harness/plan/preview.hpp"
#include "tests/catch.hpp"
#include "tests/plan/small_bench.hpp"

using namespace trackrod;
using namespace trackrod::test;

namespace {

// The small bench with a vehicle of 4 m/s^2 up and 8 m/s^2 down, and one wheel. Nothing limits the slew of either
// speed.
constexpr SignalIndex wheel = volts + 1, yaw = volts + 2, ignition = volts + 3;
Bench vehicle_bench() {
  auto b = small_bench();
  b.signals.push_back(small_signal("wheel", "km/h", Direction::drive, -200, 200));
  b.signals.push_back(small_signal("yaw", "deg/s", Direction::drive, -100, 100));
  b.signals.push_back(small_signal("ignition", "1", Direction::drive, 0, 3));
  b.signals[speed].info.max_slew = 0;
  b.signals[speed].info.range_low = -200;
  VehicleSpec v;
  v.speed = speed;
  v.wheel_speeds = {wheel};
  v.max_speed = 130, v.max_acceleration = 14.4, v.max_deceleration = 28.8, v.wheel_agreement = 3;
  b.vehicle = v;
  return b;
}
Bench without_wheels() {
  auto b = vehicle_bench();
  b.vehicle->wheel_speeds.clear();
  return b;
}

std::vector<std::string> notes_of(const std::string& steps, const std::string& start = "",
                                  const Bench& bench = without_wheels()) {
  const auto w = work_out(plan_of(steps, start), {}, bench);
  INFO(w.sentences());
  REQUIRE(w.timeline);
  return vehicle_notes(*w.timeline, bench);
}
bool has(const std::string& note, const std::string& words) { return note.find(words) != std::string::npos; }

const std::string still = R"({"do": "hold", "name": "still", "for": "2 s"},)";

}  // namespace

TEST_CASE("a speed that a vehicle can have is not noted") {
  CHECK(notes_of(still + R"({"do": "ramp", "signal": "speed", "to": "40 km/h", "rate": "4 m/s^2", "for": "1 s"},
    {"do": "ramp", "signal": "speed", "to": "0 km/h", "rate": "8 m/s^2"},
    {"do": "ramp", "signal": "speed", "to": "-10 km/h", "rate": "4 m/s^2"},
    {"do": "ramp", "signal": "speed", "to": "0 km/h", "rate": "8 m/s^2"},
    {"do": "sine", "signal": "speed", "amplitude": "2 km/h", "frequency": "1 Hz", "cycles": 3})")
            .empty());
}

TEST_CASE("a jump of the speed is noted once with step and time, also at the start") {
  const auto notes =
      notes_of(still + R"({"do": "step", "name": "go", "signal": "speed", "to": "40 km/h", "for": "1 s"})");
  REQUIRE(notes.size() == 1);
  CHECK(has(notes[0], "'speed' jumps from 0 km/h to 40 km/h, in step 'go' at 2 s"));
  CHECK(has(notes[0], R"("implausible": "meant")"));

  const auto start = notes_of(still + R"({"do": "hold", "for": "1 s"})", R"("speed": "40 km/h")");
  REQUIRE(start.size() == 1);
  CHECK(has(start[0], "'speed' jumps from 0 km/h to 40 km/h, before the first step"));
}

TEST_CASE("gain and loss of speed have limits of their own, backwards too") {
  const auto notes = notes_of(R"({"do": "ramp", "name": "up", "signal": "speed", "to": "40 km/h", "rate": "5 m/s^2"},
    {"do": "ramp", "name": "down", "signal": "speed", "to": "0 km/h", "rate": "9 m/s^2"},
    {"do": "ramp", "name": "back", "signal": "speed", "to": "-18 km/h", "rate": "5 m/s^2"},
    {"do": "ramp", "name": "stop", "signal": "speed", "to": "0 km/h", "rate": "5 m/s^2"})");
  REQUIRE(notes.size() == 3);
  CHECK(has(notes[0], "'speed' gains 18 km/h/s, the vehicle at most 14.4 km/h/s, in step 'up' at 0 s"));
  CHECK(has(notes[1], "'speed' loses 32.4 km/h/s, the vehicle at most 28.8 km/h/s, in step 'down'"));
  CHECK(has(notes[2], "'speed' gains 18 km/h/s, the vehicle at most 14.4 km/h/s, in step 'back'"));
}

TEST_CASE("a ramp through standstill is first a loss, then a gain") {
  const auto notes =
      notes_of(R"({"do": "ramp", "name": "through", "signal": "speed", "to": "-36 km/h", "rate": "36 km/h/s"})",
               R"("speed": "36 km/h")");
  REQUIRE(notes.size() == 3);  // the jump to the start is the first
  CHECK(has(notes[1], "loses 36 km/h/s, the vehicle at most 28.8 km/h/s, in step 'through' at 0 s"));
  CHECK(has(notes[2], "gains 36 km/h/s, the vehicle at most 14.4 km/h/s, in step 'through' at 1 s"));
}

TEST_CASE("the steepest place of a sine counts") {
  // 2 pi x 1 Hz x 5 km/h = 31.4 km/h/s
  const auto notes = notes_of(
      R"({"do": "sine", "name": "weave", "signal": "speed", "amplitude": "5 km/h", "frequency": "1 Hz", "cycles": 2})");
  REQUIRE(notes.size() == 2);
  CHECK(has(notes[0], "gains 31.4159 km/h/s"));
  CHECK(has(notes[1], "loses"));
}

TEST_CASE("the way to the start value is as steep as the bench lets it be") {
  auto bench = without_wheels();
  bench.signals[speed].info.max_slew = 36;  // 10 m/s^2
  const auto notes = notes_of(R"({"do": "hold", "for": "1 s"})", R"("speed": "40 km/h")", bench);
  REQUIRE(notes.size() == 1);
  CHECK(has(notes[0], "'speed' gains 36 km/h/s, the vehicle at most 14.4 km/h/s, before the first step"));
  bench.signals[speed].info.max_slew = 14;
  CHECK(notes_of(R"({"do": "hold", "for": "1 s"})", R"("speed": "40 km/h")", bench).empty());
}

TEST_CASE("a speed beyond the vehicle's is noted where it is passed") {
  const auto notes = notes_of(
      R"({"do": "ramp", "name": "up", "signal": "speed", "to": "140 km/h", "rate": "10 km/h/s", "for": "1 s"})");
  REQUIRE(notes.size() == 1);
  CHECK(has(notes[0], ", the vehicle at most 130 km/h, in step 'up' at 13."));
}

TEST_CASE("a wheel that is left behind is noted, one that is driven along is not") {
  const auto ramp = [](const std::string& signal, const std::string& rate) {
    return R"({"do": "ramp", "signal": ")" + signal + R"(", "to": "40 km/h", "rate": ")" + rate + R"("})";
  };
  const auto both = [&](const std::string& rate, const std::string& more = "") {
    return R"({"do": "parallel", "name": "go")" + more + R"(, "tracks": [[)" + ramp("speed", "10 km/h/s") + "], [" +
           ramp("wheel", rate) + "]]}";
  };
  const auto alone = notes_of(ramp("speed", "10 km/h/s"), "", vehicle_bench());
  REQUIRE(alone.size() == 1);
  CHECK(
      has(alone[0], "'wheel' says 0 km/h, 'speed' 3.125 km/h, in step 'step-1' at 0.3125 s"));  // 1/64 of 40 km/h each
  CHECK(notes_of(both("10 km/h/s"), "", vehicle_bench()).empty());
  CHECK(notes_of(both("10.5 km/h/s"), "", vehicle_bench()).empty());  // 2 km/h apart at most
  CHECK(notes_of(both("12 km/h/s"), "", vehicle_bench()).size() == 1);
  CHECK(notes_of(both("12 km/h/s", R"(, "implausible": "meant")"), "", vehicle_bench()).empty());
}

TEST_CASE("what is meant is not noted, in a repeat with all that is inside") {
  const auto fault = [](const std::string& of_repeat, const std::string& of_step) {
    return still + R"({"do": "repeat", "times": 5)" + of_repeat + R"(, "steps": [
      {"do": "step", "name": "lost")" +
           of_step + R"(, "signal": "speed", "to": "40 km/h", "for": "1 s"},
      {"do": "step", "name": "found", "signal": "speed", "to": "0 km/h", "for": "1 s"}]},
      {"do": "step", "name": "after", "signal": "speed", "to": "20 km/h", "for": "1 s"})";
  };
  const std::string meant = R"(, "implausible": "meant")";
  const auto all = notes_of(fault("", ""));
  REQUIRE(all.size() == 3);  // not once more for each pass
  CHECK(has(all[1], "in step 'found' at 3 s"));
  CHECK(has(all[2], "in step 'after' at 12 s"));  // 2 s and five passes of 2 s
  CHECK(notes_of(fault("", meant)).size() == 2);
  const auto inside = notes_of(fault(meant, ""));
  REQUIRE(inside.size() == 1);
  CHECK(has(inside[0], "in step 'after'"));
}

TEST_CASE("a preview tells the notes, and a bench that names no vehicle has none") {
  const std::string jump = R"({"do": "step", "signal": "speed", "to": "40 km/h", "for": "1 s"})";
  const auto bench = without_wheels();
  const auto w = work_out(plan_of(jump), {}, bench);
  REQUIRE(w.timeline);
  const auto notes = preview(*w.timeline, bench).notes;
  CHECK(std::any_of(notes.begin(), notes.end(), [](const auto& n) { return has(n, "jumps from 0 km/h"); }));
  auto other = bench;
  other.vehicle.reset();
  CHECK(notes_of(jump, "", other).empty());
}

TEST_CASE("a rate of yaw that no tyre holds at that speed is noted") {
  auto bench = without_wheels();
  bench.vehicle->yaw_rate = yaw;
  bench.vehicle->lateral_gain = 3.14159265358979 / 180.0 / 3.6;
  bench.vehicle->max_lateral_acceleration = 9;
  const auto bend = [&](const std::string& rate) {
    return notes_of(R"({"do": "ramp", "signal": "speed", "to": "72 km/h", "rate": "4 m/s^2"},
      {"do": "ramp", "name": "bend", "signal": "yaw", "to": ")" +
                        rate + R"(", "rate": "20 deg/s^2"})",
                    "", bench);
  };
  // 20 m/s times 25 deg/s are 8.73 m/s^2; times 30 deg/s 10.5 m/s^2, reached after 1.29 s of 1.5 s.
  CHECK(bend("25 deg/s").empty());
  const auto notes = bend("-30 deg/s");
  REQUIRE(notes.size() == 1);
  CHECK(has(notes[0], "'yaw' is -2"));
  CHECK(has(notes[0], "sideways, the vehicle at most 9 m/s^2, in step 'bend'"));
}

TEST_CASE("a vehicle that moves and is switched off is noted") {
  auto bench = without_wheels();
  bench.vehicle->power_mode = ignition;
  bench.vehicle->power_on = 2;
  const std::string drive = R"({"do": "ramp", "name": "off", "signal": "speed", "to": "36 km/h", "rate": "4 m/s^2"})";
  CHECK(notes_of(drive, R"("ignition": "2")", bench).empty());
  CHECK(notes_of(R"({"do": "hold", "for": "2 s"})", R"("ignition": "1")", bench).empty());
  const auto notes = notes_of(drive, R"("ignition": "1")", bench);
  REQUIRE(notes.size() == 1);
  CHECK(has(notes[0], "'ignition' is 1 at "));
  CHECK(has(notes[0], "a vehicle that moves has at least 2, in step 'off'"));
}

TEST_CASE("a signal of the vehicle in a message that does not count is noted once, whatever the steps") {
  auto bench = vehicle_bench();
  bench.signals[speed].counted = false;
  bench.signals[ignition].counted = false;  // none of the vehicle's
  const auto notes = notes_of(R"({"do": "hold", "for": "1 s"})", "", bench);
  REQUIRE(notes.size() == 1);
  CHECK(has(notes[0], "'speed' goes out in a message of device '"));
  CHECK(has(notes[0], "that does not count"));
}
