// The load model on a bench: what it reads and drives, and what is refused.

#include "tests/bench/demo.hpp"
#include "tests/catch.hpp"

using namespace trackrod;
using namespace trackrod::test;

namespace {

std::string with(const std::string& old, const std::string& fresh, std::string text = demo_text()) {
  const auto at = text.find(old, text.find("\"load\": {"));
  REQUIRE(at != std::string::npos);
  return text.replace(at, old.size(), fresh);
}

// A signal of the bus for what the model may tell the unit.
std::string with_signal(const std::string& unit, const std::string& range, const std::string& in_load) {
  auto text = with(R"("stale":)", in_load + R"(, "stale":)");
  const std::string field = R"("ignition": {"start": 39, "bits": 8})", signals = R"("unit.ignition": {)";
  text.replace(text.find(field), field.size(),
               field + R"(, "more": {"start": 47, "bits": 8, "signed": true, "scale": 0.01})");
  return text.insert(text.find(signals), R"("vehicle.more": {"device": "unit", "field": "more", "unit": ")" + unit +
                                             R"(", "direction": "drive", "range": )" + range + R"(, "rest": "0 )" +
                                             unit + R"("}, )");
}

std::string told(const std::string& text) {
  const auto read = parse(text);
  CHECK_FALSE(read.bench);
  return read.sentences();
}
bool says(const std::string& sentences, const std::string& words) {
  INFO(sentences);
  return sentences.find(words) != std::string::npos;
}

const LoadSpec& load_of(const Parsed& read) {
  INFO(read.sentences());
  REQUIRE(read.bench);
  REQUIRE(read.bench->load);
  return *read.bench->load;
}

constexpr double pi = 3.14159265358979;

}  // namespace

TEST_CASE("the load model's signals are kept with what one of their units is in SI") {
  const auto read = parse(demo_text());
  const auto& load = load_of(read);
  CHECK(load.angle == *read.bench->find("road.angle"));
  CHECK(load.angle_gain == Approx(pi / 180.0));
  CHECK(load.speed == *read.bench->find("vehicle.speed"));
  CHECK(load.speed_gain == Approx(1.0 / 3.6));
  CHECK(load.force_gain == 1.0);
  CHECK(load.drives() == std::vector<SignalIndex>{*read.bench->find("road.load_cmd")});
  CHECK(load.stale == std::chrono::milliseconds{10});
  CHECK(load.vehicle.mass == 1800.0);
}

TEST_CASE("the travel of a rack is an angle of the road wheel by the steering arm") {
  auto text = with(R"("angle": "road.angle")", R"("angle": "road.travel")");
  text.insert(text.find(R"("road.load_cmd": {)"), R"("road.travel": {"device": "road", "field": "angle", "unit": "mm",
      "direction": "read", "range": ["-100 mm", "100 mm"], "bench_owned": true}, )");
  // 0.1375 m/rad: 137.5 mm of rack are one radian.
  CHECK(137.5 * load_of(parse(text)).angle_gain == Approx(1.0));
}

TEST_CASE("the rate of yaw and the lateral acceleration may be told to the vehicle bus") {
  const auto yaw = parse(with_signal("deg/s", R"(["-1 deg/s", "1 deg/s"])", R"("yaw_rate": "vehicle.more")"));
  CHECK(load_of(yaw).yaw_gain == Approx(180.0 / pi));
  CHECK(load_of(yaw).drives().size() == 2);
  const auto sideways = parse(with_signal("gn", R"(["-1 gn", "1 gn"])", R"("lateral_acceleration": "vehicle.more")"));
  CHECK(load_of(sideways).acceleration_gain * 9.80665 == Approx(1.0));
  CHECK(says(told(with_signal("V", R"(["-1 V", "1 V"])", R"("yaw_rate": "vehicle.more")")),
             "a signal that is a rate of yaw"));
  CHECK(says(told(with_signal("deg/s", R"(["0 deg/s", "1 deg/s"])", R"("yaw_rate": "vehicle.more")")),
             "a range to either side of 0"));
}

TEST_CASE("a load model whose signals make no sense is told with its place") {
  CHECK(says(told(with("road.angle", "road.angel")), "did you mean 'road.angle'?"));
  CHECK(says(told(with("\"road.angle\"", "\"unit.road_angle\"")), "not measured by the bench itself"));
  CHECK(
      says(told(with("\"road.angle\"", "\"road.force\"")), "a signal that is an angle of the road wheel or a travel"));
  CHECK(says(told(with("\"road.angle\"", "\"hand.angle_cmd\"")), "a read signal for the angle"));
  CHECK(says(told(with("\"vehicle.speed\"", "\"road.angle\"")), "a driven signal for the speed"));
  CHECK(says(told(with("\"vehicle.speed\"", "\"hand.angle_cmd\"")), "a signal that is a speed"));
  CHECK(says(told(with("\"road.load_cmd\"", "\"road.force\"")), "a driven signal for a force"));
  CHECK(says(told(with("\"road.load_cmd\"", "\"hand.torque_cmd\"")), "a signal that is a force"));
}

TEST_CASE("a force that the bench does not limit in rate, or that the safe state leaves on, is refused") {
  auto unlimited = demo_text();
  const std::string slew = R"("max_slew": "50 kN/s", )";
  unlimited.erase(unlimited.find(slew), slew.size());
  CHECK(says(told(unlimited), "'road.load_cmd' has no 'max_slew'"));
  auto left_on = demo_text();
  const std::string off = R"({"set": "road.load_cmd", "to": "0 N"},)";
  left_on.erase(left_on.find(off), off.size());
  CHECK(says(told(left_on), "the safe state does not take the force 'road.load_cmd' off"));
}

TEST_CASE("an angle must be stale later than a tick and before its device is lost") {
  CHECK(says(told(with(R"("stale": "10 ms")", R"("stale": "1 ms")")), "more than 1 ms, a tick of the loop"));
  CHECK(says(told(with(R"("stale": "10 ms")", R"("stale": "20 ms")")), "less than 20 ms"));
}

// With K the steepest of the model, K <= b / 2T: docs/load-model.md, practice of delayed force loops.
TEST_CASE("a vehicle that is stiffer than half of damping by delay is refused") {
  // Tyres 90 kN/rad x 55 mm, of which 0.0625 m / 0.4 m ahead; so (8000 + 773 + 150) Nm/rad over 0.1375 m squared, and
  // 50 kN/m: 522.0 kN/m.
  const auto measured = [](const std::string& delay) {
    return with(R"("delay": "11.5 ms")", "\"delay\": \"" + delay + "\"");
  };
  const auto good = parse(measured("13.4 ms"));
  CHECK(load_of(good).stability->most_stiffness() == Approx(14e3 / (2.0 * 13.4e-3)));
  const auto sentences = told(measured("13.5 ms"));
  CHECK(says(sentences, "up to 522 kN/m stiff"));
  CHECK(says(sentences, "at most 518.5 kN/m"));
  CHECK(says(sentences, "/load/stability"));
}
