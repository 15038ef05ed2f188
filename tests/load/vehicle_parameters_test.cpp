// A vehicle as a bench file describes it: what is read, and what is said about a wrong one.

#include "harness/load/vehicle_parameters.hpp"

#include <cmath>
#include <fstream>
#include <iterator>
#include <map>

#include "tests/catch.hpp"

namespace trackrod::test {
namespace {

const std::map<std::string, std::string> good{{"mass", "\"1.8e3 kg\""},
                                              {"yaw_inertia", "\"3000 kg.m^2\""},
                                              {"front_axle", "\"120 cm\""},
                                              {"rear_axle", "\"1.6 m\""},
                                              {"front_stiffness", "\"90 kN/rad\""},
                                              {"rear_stiffness", "\"110 kN/rad\""},
                                              {"friction", "0.9"},
                                              {"relaxation_length", "\"0.4 m\""},
                                              {"pneumatic_trail", "\"35 mm\""},
                                              {"mechanical_trail", "\"20 mm\""},
                                              {"steering_arm", "\"2.4 mm/deg\""},
                                              {"scrub_torque", "\"400 Nm\""},
                                              {"scrub_stiffness", "\"8000 Nm/rad\""},
                                              {"jacking_stiffness", "\"150 Nm/rad\""},
                                              {"rack_friction", "\"100 N\""},
                                              {"rack_friction_stiffness", "\"500 N/mm\""},
                                              {"pulse_force_per_height", "\"40 N/mm\""}};

struct Read {
  VehicleParameters vehicle;
  bool good{false};
  std::vector<Problem> problems;
};
Read read(const std::map<std::string, std::string>& values) {
  std::string text;
  for (const auto& [key, value] : values) text += (text.empty() ? "{\"" : ",\n\"") + key + "\": " + value;
  Problems problems;
  const auto root = parse_json(text + "}", "bench.json", problems);
  REQUIRE(root);
  Read r;
  r.good = vehicle().read(*root, r.vehicle, problems);
  r.problems = problems.sorted();
  return r;
}
Read read_with(const std::string& key, const std::string& value) {
  auto values = good;
  values[key] = value;
  return read(values);
}

TEST_CASE("a vehicle is read in any unit of the right kind") {
  const auto r = read(good);
  INFO((r.problems.empty() ? "" : r.problems.front().sentence()));
  REQUIRE(r.good);
  CHECK(r.vehicle.mass == 1800.0);
  CHECK(r.vehicle.wheelbase() == Approx(2.8));
  CHECK(r.vehicle.front_stiffness == Approx(90e3));
  CHECK(r.vehicle.steering_arm == Approx(0.0024 * 180.0 / std::acos(-1.0)));
  CHECK(r.vehicle.rack_friction_stiffness == Approx(5e5));
  CHECK(r.vehicle.angle_scale == 1.0);
  CHECK(r.vehicle.force_scale == 1.0);
}

TEST_CASE("nothing but the scales may be left out") {
  for (const auto& [key, value] : good) {
    auto values = good;
    values.erase(key);
    const auto r = read(values);
    CAPTURE(key);
    CHECK_FALSE(r.good);
    REQUIRE(r.problems.size() == 1);
    CHECK_THAT(r.problems.front().sentence(), Catch::Contains("'" + key + "'"));
  }
}

TEST_CASE("a vehicle that cannot be is refused, with the place of the value") {
  struct Wrong {
    const char *key, *value;
  };
  const auto wrong = GENERATE(
      Wrong{"mass", "\"0 kg\""}, Wrong{"mass", "\"-1800 kg\""}, Wrong{"mass", "\"1800 N\""}, Wrong{"mass", "1800"},
      Wrong{"yaw_inertia", "\"0 kg.m^2\""}, Wrong{"yaw_inertia", "\"3000 Nm\""}, Wrong{"front_axle", "\"0 m\""},
      Wrong{"rear_axle", "\"-1.6 m\""}, Wrong{"front_stiffness", "\"0 N/rad\""}, Wrong{"rear_stiffness", "\"90 kN\""},
      Wrong{"friction", "0"}, Wrong{"friction", "-0.9"}, Wrong{"relaxation_length", "\"0 m\""},
      Wrong{"pneumatic_trail", "\"-10 mm\""}, Wrong{"mechanical_trail", "\"20 m\""},
      Wrong{"steering_arm", "\"0 m/rad\""}, Wrong{"scrub_torque", "\"-400 Nm\""},
      Wrong{"scrub_stiffness", "\"0 Nm/rad\""}, Wrong{"jacking_stiffness", "\"-1 Nm/rad\""},
      Wrong{"rack_friction", "\"-1 N\""}, Wrong{"rack_friction_stiffness", "\"0 N/m\""},
      Wrong{"pulse_force_per_height", "\"-1 N/m\""}, Wrong{"angle_scale", "0"}, Wrong{"force_scale", "-1"});
  CAPTURE(wrong.key, wrong.value);
  const auto r = read_with(wrong.key, wrong.value);
  CHECK_FALSE(r.good);
  REQUIRE(r.problems.size() == 1);
  CHECK(r.problems.front().at.path == std::string{"/"} + wrong.key);
}

TEST_CASE("a yaw inertia that does not go with mass and axles is taken for a slip of the unit") {
  const auto r = read_with("mass", "\"1.8 kg\"");
  CHECK_FALSE(r.good);
  REQUIRE(r.problems.size() == 1);
  CHECK(r.problems.front().at.path == "/yaw_inertia");
  CHECK(r.problems.front().sentence() ==
        "bench.json:" + std::to_string(r.problems.front().at.line) + ":" +
            std::to_string(r.problems.front().at.column) +
            ": /yaw_inertia: found 3000 kg.m^2; allowed: 0.346 to 34.6 kg.m^2 for this mass and these axles; check the "
            "units of mass, front_axle, rear_axle and yaw_inertia; a car has about 3.46 kg.m^2");
}

TEST_CASE("the page on the load model names every parameter") {
  std::ifstream file{TRACKROD_SOURCE_DIR "/docs/load-model.md"};
  const std::string page{std::istreambuf_iterator<char>{file}, {}};
  for (const auto& face : vehicle_fields().faces()) CHECK_THAT(page, Catch::Contains("| `" + face.key + "` |"));
}

}  // namespace
}  // namespace trackrod::test
