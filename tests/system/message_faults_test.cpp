// Faults of messages in whole runs, rehearsed: when they began, and what becomes of one that was never made.

#include "tests/catch.hpp"
#include "tests/system/demo_rig.hpp"

namespace trackrod::test {
namespace {

using Json = nlohmann::json;

// The hand wheel in a weave, and that fault in it.
std::string plan_with(const std::string& fault) {
  return R"({"plan": "messages", "control": {"hand_wheel": "position"},
    "start": {"hand.angle_cmd": "70 deg", "vehicle.speed": "40 km/h", "vehicle.speed_b": "40 km/h", "road.load_cmd": "0 N",
              "supply.voltage_cmd": "13.5 V"},
    "settle": "2 s",
    "steps": [{"do": "parallel", "name": "cell", "tracks": [
      [{"do": "sine", "signal": "hand.angle_cmd", "amplitude": "30 deg", "frequency": "1 Hz", "cycles": 4}],
      [{"do": "hold", "for": "1.2 s"}, {"do": "inject", "fault": ")" +
         fault + R"(", "for": "1.5 s"}]]}],
    "criteria": [{"score": "degraded", "steps": ["cell"], "tolerance": 1.2, "inserted": 1, "right": [51], "none": [0],
      "signals": {"output": "road.angle", "reference": "hand.angle", "warning": "unit.code"},
      "limits": [{"finding": "warning_time", "at_most": "90 ms"}, {"finding": "missing_warnings", "at_most": "0"}]}]})";
}

struct MessageRig : DemoRig {
  MessageRig(const std::string& bench, const std::string& fault) {
    write("bench-faults.json", bench);
    write("plan.json", plan_with(fault));
    const auto program =
        start({"--json", "rehearse", file("plan.json"), "--bench", file("bench-faults.json"), "--runs", file("runs")},
              "rehearse");
    status = program->wait(240s);
    told = program->err();
  }
  Json finding(const std::string& name) {
    const auto whole = Json::parse(slurp(run_folder() + "/findings.json"));
    for (const auto& f : whole["findings"])
      if (f["name"] == name) return f;
    FAIL("no finding " << name);
    return {};
  }
  // Instants of the events of that kind, s.
  std::vector<double> events(const std::string& kind) {
    std::istringstream lines{slurp(run_folder() + "/events.jsonl")};
    std::vector<double> all;
    for (std::string line; std::getline(lines, line);)
      if (const auto e = Json::parse(line); e["kind"] == kind) all.push_back(e["t"]);
    return all;
  }
  int status{0};
  std::string told;
};

std::string faults_bench() { return slurp(DemoRig::source("fixtures/demo_bench/bench-faults.json")); }

}  // namespace

TEST_CASE("a fault of messages begins with a message, and the unit's answer is timed from there") {
  MessageRig rig{faults_bench(), "vehicle_corrupted"};
  CAPTURE(rig.told);
  CHECK(rig.status == 0);
  const auto made = rig.events("fault_made"), shown = rig.events("fault_shown");
  REQUIRE(made.size() == 1);
  REQUIRE(shown.size() == 1);
  CHECK(shown[0] >= made[0]);
  CHECK(shown[0] < made[0] + 0.010);
  CHECK(rig.events("fault_gone").size() == 1);
  // The unit has the code 60 to 70 ms after that message, and tells it within 10 ms (docs/simulated-bench.md).
  const auto warned = rig.finding("degraded.warning_time");
  CHECK(warned["value"].get<double>() > 55.0);
  CHECK(warned["value"].get<double>() < 85.0);
}

TEST_CASE("a fault in whose time no message was due was not run, and never passes") {
  // The second message is sent on a change, and the speed does not change.
  const auto bench = replaced(faults_bench(),
                              R"({"vehicle_speed_b": {"start": 23, "bits": 16, "signed": true, "scale": 0.01}},
            "cycle": "10 ms")",
                              R"({"vehicle_speed_b": {"start": 23, "bits": 16, "signed": true, "scale": 0.01}},
            "on_change": "1 ms")");
  MessageRig rig{replaced(bench, R"({"kind": "dropped", "device": "unit", "message": "vehicle"})",
                          R"({"kind": "dropped", "device": "unit", "message": "vehicle_b"})"),
                 "vehicle_dropped"};
  CAPTURE(rig.told);
  CHECK(rig.status == 4);
  CHECK(rig.events("fault_not_shown").size() == 1);
  CHECK(rig.finding("degraded.missing_warnings")["verdict"] == "not run");
}

}  // namespace trackrod::test
