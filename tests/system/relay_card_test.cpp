// Faults that a relay card makes over SCPI in whole rehearsed runs: seen by its voltmeters, and judged.

#include "tests/catch.hpp"
#include "tests/system/demo_rig.hpp"

namespace trackrod::test {
namespace {

using Json = nlohmann::json;

// Each of three faults once, with the hand wheel turned. What the unit warns with, by docs/simulated-bench.md: 4 for a
// hand-angle sensor, 1 for a low supply, 2 more where it reaches a limit.
constexpr char plan[] = R"({
  "plan": "card-faults",
  "grids": {"faults": {"over": {"fault": [
    {"name": "hand_a_open", "warning": 4, "at_limit": 6}, {"name": "hand_b_ground", "warning": 4, "at_limit": 6},
    {"name": "feed_main_resistance", "warning": 1, "at_limit": 3}]}}},
  "control": {"hand_wheel": "position"},
  "start": {"hand.angle_cmd": "70 deg", "vehicle.speed": "10 km/h", "road.load_cmd": "0 N", "supply.voltage_cmd": "13.5 V"},
  "settle": "2 s",
  "steps": [{"do": "grid", "of": "faults", "steps": [
    {"do": "wait", "name": "healthy.${fault.name}", "signal": "unit.warning", "at_least": "0", "at_most": "0", "hold_for": "600 ms", "within": "3 s"},
    {"do": "parallel", "name": "cell.${fault.name}", "tracks": [
      [{"do": "sine", "signal": "hand.angle_cmd", "amplitude": "30 deg", "frequency": "1 Hz", "cycles": 4}],
      [{"do": "hold", "for": "1.2 s"}, {"do": "inject", "fault": "${fault.name}", "for": "1.5 s"}]]}
  ]}],
  "criteria": [
    {"grid": "faults", "score": "degraded", "steps": ["cell.${fault.name}"], "tolerance": 1.2, "inserted": 1,
     "right": ["${fault.warning}", "${fault.at_limit}"], "none": [0, 2],
     "signals": {"output": "road.angle", "reference": "hand.angle", "warning": "unit.warning"},
     "limits": [{"finding": "faults", "at_least": "1"},
                {"finding": "warning_time", "at_most": "200 ms"},
                {"finding": "missing_warnings", "at_most": "0"},
                {"finding": "lasting_warnings", "at_most": "0"}]}
  ]
})";

struct CardRig : DemoRig {
  CardRig() {
    write("bench-relays-scpi.json", slurp(source("fixtures/demo_bench/bench-relays-scpi.json")));
    write("plan.json", plan);
  }
  int rehearse(const std::vector<std::string>& more = {}) {
    std::vector<std::string> arguments{
        "--json", "rehearse", file("plan.json"), "--bench", file("bench-relays-scpi.json"), "--runs", file("runs")};
    arguments.insert(arguments.end(), more.begin(), more.end());
    const auto program = start(arguments, "rehearse");
    const int status = program->wait(120s);
    told = program->err();
    findings = Json::parse(slurp(run_folder() + "/findings.json"))["findings"];
    return status;
  }
  // Of the cell of a fault.
  Json finding(const std::string& name, const std::string& fault) const {
    for (const auto& f : findings)
      if (f["name"] == name && f["step"] == "cell." + fault) return f;
    return {};
  }
  std::string told;
  Json findings;
};

}  // namespace

TEST_CASE("a sensor opened, a sensor grounded and a weak feed over SCPI are seen, warned of in time, and gone again") {
  CardRig rig;
  const int status = rig.rehearse();
  INFO(rig.told << rig.findings.dump(1));
  CHECK(status == 0);
  for (const auto* fault : {"hand_a_open", "hand_b_ground", "feed_main_resistance"})
    for (const auto* name :
         {"degraded.faults", "degraded.warning_time", "degraded.missing_warnings", "degraded.lasting_warnings"}) {
      CAPTURE(fault, name);
      const auto found = rig.finding(name, fault);
      REQUIRE_FALSE(found.is_null());
      CHECK(found["verdict"] == "pass");
    }
  // By docs/simulated-bench.md from the first break to the code 72 to 82 ms and 22 to 32 ms, 1.5 ms of bounce, and up
  // to 10 ms until the next message tells it.
  const auto meets = [&](const char* fault, double low, double high) {
    const auto interval = rig.finding("degraded.warning_time", fault)["interval"];
    CAPTURE(fault, interval.dump());
    CHECK(interval[1].get<double>() >= low);
    CHECK(interval[0].get<double>() <= high + 1.5 + 10.0);
    CHECK(interval[1].get<double>() - interval[0].get<double>() < 60.0);  // seen in time
  };
  meets("hand_a_open", 72.0, 82.0);
  meets("hand_b_ground", 22.0, 32.0);
}

// The relay is late, though the card answers at once that it is where it was told to be.
TEST_CASE("a wire that is still broken when the card says that it is whole trips the bench, and nothing is judged") {
  CardRig rig;
  const int status = rig.rehearse({"--truth-set", "fault.delay=100 ms"});
  INFO(rig.told << rig.findings.dump(1));
  CHECK(status == 3);
  int judged = 0;
  for (const auto& f : rig.findings) {
    if (f["limit"].is_null()) continue;
    ++judged;
    CHECK(f["verdict"] == "not run");
  }
  CHECK(judged == 12);
  CHECK(Json::parse(slurp(rig.run_folder() + "/run.json"))["safe_state_reached"] == true);
}

}  // namespace trackrod::test
