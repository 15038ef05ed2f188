// The vehicle that the bench plays to the unit: what is taken from the file, and what is refused.

#include "tests/bench/demo.hpp"
#include "tests/catch.hpp"

using namespace trackrod;
using namespace trackrod::test;

namespace {

// The demo bench with another vehicle, and a field and a driven signal for one wheel.
Parsed with_vehicle(const std::string& block) {
  auto text = demo_text();
  const auto replace = [&](const std::string& old, const std::string& fresh) {
    const auto at = text.find(old);
    REQUIRE(at != std::string::npos);
    text.replace(at, old.size(), fresh);
  };
  const auto begin = text.find("\"vehicle\": {\n    \"speed\"");
  REQUIRE(begin != std::string::npos);
  text.replace(begin, text.find('}', begin) + 1 - begin, "\"vehicle\": {" + block + "}");
  replace(
      R"("ignition": {"start": 39, "bits": 8})",
      R"("ignition": {"start": 39, "bits": 2}, "yaw": {"start": 37, "bits": 2}, "wheel": {"start": 35, "bits": 12, "scale": 0.1})");
  replace(R"("unit.ignition": {)", R"("vehicle.wheel": {"device": "unit", "field": "wheel", "unit": "km/h",
      "direction": "drive", "range": ["0 km/h", "200 km/h"], "rest": "0 km/h"},
    "vehicle.yaw": {"device": "unit", "field": "yaw", "unit": "deg/s", "direction": "drive",
      "range": ["0 deg/s", "1 deg/s"], "rest": "0 deg/s"},
    "unit.ignition": {)");
  return parse(text);
}

const std::string speeds = R"("speed": "vehicle.speed", "max_speed": "36 m/s", )";
const std::string rates = R"("max_acceleration": "4 m/s^2", "max_deceleration": "36 km/h/s")";

std::string told(const std::string& block) {
  const auto read = with_vehicle(block);
  CHECK_FALSE(read.bench);
  return read.sentences();
}
bool says(const std::string& sentences, const std::string& words) { return sentences.find(words) != std::string::npos; }

}  // namespace

TEST_CASE("the vehicle's limits are kept in the unit of its speed") {
  const auto read = with_vehicle(speeds + rates + R"(, "wheel_speeds": ["vehicle.wheel"], "wheel_agreement": "1 m/s")");
  INFO(read.sentences());
  REQUIRE(read.bench);
  REQUIRE(read.bench->vehicle);
  const auto& v = *read.bench->vehicle;
  CHECK(v.speed == *read.bench->find("vehicle.speed"));
  CHECK(v.max_speed == Approx(129.6));  // 3.6 km/h are 1 m/s
  CHECK(v.max_acceleration == Approx(14.4));
  CHECK(v.max_deceleration == Approx(36));
  CHECK(v.wheel_speeds == std::vector<SignalIndex>{*read.bench->find("vehicle.wheel")});
  CHECK(v.wheel_agreement == Approx(3.6));
  CHECK(v.yaw_rate == no_signal);
  CHECK(v.power_mode == no_signal);
}

TEST_CASE("speed times rate of yaw is an acceleration, whatever their units") {
  const auto read = with_vehicle(
      speeds + rates +
      R"(, "yaw_rate": "vehicle.yaw", "max_lateral_acceleration": "900 cm/s^2", "power_mode": "unit.ignition", "power_on": 1)");
  INFO(read.sentences());
  REQUIRE(read.bench);
  const auto& v = *read.bench->vehicle;
  // 36 km/h times 180 deg/s are 10 m/s times pi/s.
  CHECK(v.lateral_gain * 36.0 * 180.0 == Approx(10.0 * 3.14159265358979));
  CHECK(v.max_lateral_acceleration == Approx(9.0));
  CHECK(v.power_mode == *read.bench->find("unit.ignition"));
  CHECK(v.power_on == 1.0);
}

TEST_CASE("a vehicle that makes no sense is told with its place") {
  const auto speed = [](const std::string& name) { return "\"speed\": \"" + name + R"(", "max_speed": "36 m/s", )"; };
  CHECK(says(told(speed("vehicle.sped") + rates), "did you mean 'vehicle.speed'?"));
  CHECK(says(told(speed("hand.angle") + rates), "a driven signal for the speed of the vehicle"));
  CHECK(says(told(speed("road.load_cmd") + rates), "a signal that is a speed"));
  CHECK(says(told(speeds + R"("max_acceleration": "4 m/s^2")"), "'max_deceleration' is missing"));
  CHECK(says(told(speeds + R"("max_acceleration": "4 m/s", "max_deceleration": "9 m/s^2")"), "found \"4 m/s\""));
  CHECK(says(told(speeds + R"("max_acceleration": "4 m/s^2", "max_deceleration": "-9 m/s^2")"), "more than 0"));
  CHECK(says(told(speeds + rates + R"(, "wheel_speeds": ["vehicle.wheel"])"), "without 'wheel_agreement'"));
  CHECK(says(told(speeds + rates + R"(, "wheel_agreement": "1 km/h")"), "without 'wheel_speeds'"));
  CHECK(says(told(speeds + rates + R"(, "yaw_rate": "vehicle.yaw")"), "without 'max_lateral_acceleration'"));
  CHECK(says(told(speeds + rates + R"(, "max_lateral_acceleration": "9 m/s^2")"), "without 'yaw_rate'"));
  CHECK(says(told(speeds + rates + R"(, "yaw_rate": "vehicle.wheel", "max_lateral_acceleration": "9 m/s^2")"),
             "a signal that is a rate of turning"));
  CHECK(says(told(speeds + rates + R"(, "yaw_rate": "vehicle.yaw", "max_lateral_acceleration": "-9 m/s^2")"),
             "more than 0"));
  CHECK(says(told(speeds + rates + R"(, "power_mode": "unit.ignition")"), "without 'power_on'"));
  CHECK(says(told(speeds + rates + R"(, "power_on": 1)"), "without 'power_mode'"));
  const auto wheels = [](const std::string& names) {
    return speeds + rates + R"(, "wheel_agreement": "1 km/h", "wheel_speeds": [)" + names + "]";
  };
  CHECK(says(told(wheels(R"("vehicle.speed")")), "a second time"));
  CHECK(says(told(wheels(R"("vehicle.wheel", "vehicle.wheel")")), "a second time"));
  CHECK(says(told(wheels(R"("road.load_cmd")")), "a signal in km/h"));
}

TEST_CASE("a driven signal knows whether its messages count") {
  const auto counted = [](const std::string& text) {
    const auto read = parse(text);
    INFO(read.sentences());
    REQUIRE(read.bench);
    return read.bench->signals[read.bench->vehicle->speed].counted;
  };
  auto text = demo_text();
  CHECK(counted(text));
  const std::string counter = R"("counter": {"start": 11, "bits": 4},)";
  const auto at = text.find(counter, text.find("\"vehicle\": {\n            \"length\""));
  REQUIRE(at != std::string::npos);
  CHECK_FALSE(counted(text.erase(at, counter.size())));
}
