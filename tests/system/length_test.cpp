// Long runs: memory that does not grow, and a loop at four times the rate.

#include "tests/catch.hpp"
#include "tests/system/demo_rig.hpp"

using namespace trackrod::test;

namespace {

std::string sweeps(int minutes) {
  return R"({"plan": "long", "control": {"hand_wheel": "position"}, "start": {"hand.angle_cmd": "0 deg"}, "settle": "100 ms",
    "steps": [{"do": "repeat", "times": )" +
         std::to_string(minutes * 15) + R"(, "steps": [
      {"do": "triangle", "name": "sweep", "signal": "hand.angle_cmd", "amplitude": "20 deg", "rate": "40 deg/s", "cycles": 2}]}]})";
}

}  // namespace

TEST_CASE("the memory of a run does not grow with its length") {
  DemoRig rig;
  std::vector<double> kilobytes;
  for (const int minutes : {8, 16, 32}) {
    rig.write("plan.json", sweeps(minutes));
    auto program = rig.rehearse_plan(rig.file("plan.json"));
    const int status = program->wait(300s);
    INFO(program->err());
    REQUIRE(status == 0);
    kilobytes.push_back(static_cast<double>(program->most_memory()));
  }
  CAPTURE(kilobytes);
  CHECK(kilobytes[1] < 1.05 * kilobytes[0]);
  CHECK(kilobytes[2] < 1.05 * kilobytes[0]);
}

TEST_CASE("the loop works at 4 kHz: in virtual time no tick is missed and the plan is done to the end") {
  DemoRig rig;
  rig.write("bench.json", replaced(slurp(rig.bench()), "\"loop_rate\": \"1 kHz\"", "\"loop_rate\": \"4 kHz\""));
  rig.write("plan.json", slurp(DemoRig::source("tests/system/short_response.json")));
  auto program = rig.rehearse_plan(rig.file("plan.json"));
  const int status = program->wait(120s);
  INFO(program->err());
  CHECK((status == 0 || status == 1 || status == 4));
  const auto run = nlohmann::json::parse(slurp(rig.run_folder() + "/run.json"));
  CHECK(run.at("as_planned") == true);
}
