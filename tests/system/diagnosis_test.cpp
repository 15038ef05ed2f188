// Whole rehearsals of a bench that reads the unit's diagnosis: its fault memory before and after the steps, and what
// makes a run invalid.

#include "tests/catch.hpp"
#include "tests/system/demo_rig.hpp"

namespace trackrod::test {
namespace {

using Json = nlohmann::json;

bool mentions(const std::string& text, const std::string& words) { return text.find(words) != std::string::npos; }

struct DiagnosisRig : DemoRig {
  DiagnosisRig() { write("bench-diagnosis.json", slurp(source("fixtures/demo_bench/bench-diagnosis.json"))); }

  // `keys`: of the plan, besides those of the short response.
  int rehearse(const std::string& keys = "", const std::vector<std::string>& more = {}) {
    const auto text = slurp(source("tests/system/short_response.json"));
    write("plan.json", replaced(text, "\"settle\":", keys + "\"settle\":"));
    std::vector<std::string> arguments{
        "--json", "rehearse", file("plan.json"), "--bench", file("bench-diagnosis.json"), "--runs", file("runs")};
    arguments.insert(arguments.end(), more.begin(), more.end());
    const auto program = start(arguments, "rehearse");
    const int status = program->wait(60s);
    told = program->err();
    record = Json::parse(slurp(run_folder() + "/run.json"));
    findings = Json::parse(slurp(run_folder() + "/findings.json"));
    report = slurp(run_folder() + "/report.html");
    return status;
  }
  std::string told, report;
  Json record, findings;
};

// A hand-angle sensor that is far off: the unit confirms its code 5A0164 while it starts.
const std::vector<std::string> bad_sensor{"--truth-set", "hand.offset_b=20 deg"};

TEST_CASE("a healthy unit tells what it is and has an empty fault memory, before and after the steps") {
  DiagnosisRig rig;
  const int status = rig.rehearse(R"("requires": {"unit": {"software": "2.4.1"}}, )");
  CAPTURE(rig.told);
  CHECK(status == 0);
  CHECK(rig.record["identities"]["diagnosis"] ==
        Json{"part_number: LV3-RWA-017", "serial: LV3-017-0001", "hardware: C2", "software: 2.4.1"});
  CHECK(rig.record["fault_memory"]["before"]["diagnosis"] == Json{"empty"});
  CHECK(rig.record["fault_memory"]["after"]["diagnosis"] == Json{"empty"});
  CHECK(rig.record["invalid"].empty());
  CHECK(mentions(rig.report, "Fault memory before the steps"));
  CHECK(mentions(rig.report, "Fault memory after the steps"));
  CHECK(mentions(slurp(rig.run_folder() + "/events.jsonl"), "says of itself: software: 2.4.1"));
}

TEST_CASE("a unit with other software than required is switched on, asked, and never moved") {
  DiagnosisRig rig;
  const int status = rig.rehearse(R"("requires": {"unit": {"software": "2.5.0"}}, )");
  CHECK(status == 2);
  CHECK(mentions(rig.told, "the unit (device 'diagnosis') tells as its software '2.4.1'; the plan allows '2.5.0'"));
  CHECK(rig.record["refused"] == true);
  CHECK_FALSE(mentions(slurp(rig.run_folder() + "/events.jsonl"), "step 'weave' began"));
}

TEST_CASE("a unit that is not the one with the bench file's serial number is refused") {
  DiagnosisRig rig;
  CHECK(rig.rehearse("", {"--truth-set", "identity.serial=LV3-017-0002"}) == 2);
  CHECK(mentions(rig.told, "tells as its serial 'LV3-017-0002'; the bench file allows 'LV3-017-0001'"));
}

TEST_CASE("a run that begins with an active confirmed fault is invalid, and no finding passes") {
  DiagnosisRig rig;
  const int status = rig.rehearse("", bad_sensor);
  CAPTURE(rig.told);
  CHECK(status == 4);
  const auto before = rig.record["fault_memory"]["before"]["diagnosis"].dump();
  CHECK(mentions(before, "5A0164 (C1A01-64): test failed, test failed this operation cycle, pending, confirmed"));
  REQUIRE(rig.record["invalid"].size() == 1);
  CHECK(mentions(rig.record["invalid"][0], "began with an active fault that the plan does not expect: 5A0164"));
  const auto dead_time = findings_named(rig.findings, "delay.dead_time");
  REQUIRE(dead_time.size() == 1);
  CHECK(dead_time[0].verdict == "invalid");
  CHECK(mentions(dead_time[0].reason, "5A0164"));
  CHECK(dead_time[0].value);  // what was measured stays
  CHECK(mentions(rig.report, "The run is invalid"));
  // Scored again it is as invalid.
  const auto again = rig.start({"score", rig.run_folder()}, "score");
  CHECK(again->wait(30s) == 4);
}

TEST_CASE("a fault that the plan expects does not make the run invalid") {
  DiagnosisRig rig;
  CHECK(rig.rehearse(R"("expected_faults": ["5A0164"], )", bad_sensor) == 0);
  CHECK(rig.record["invalid"].empty());
  CHECK(mentions(rig.record["fault_memory"]["after"]["diagnosis"].dump(), "5A0164"));
}

TEST_CASE("a run in which the unit restarts with other software is invalid") {
  DiagnosisRig rig;
  const auto plan = replaced(
      slurp(DemoRig::source("tests/system/short_response.json")), R"({"do": "hold", "name": "rest", "for": "500 ms"})",
      R"({"do": "ramp", "name": "down", "signal": "supply.voltage_cmd", "to": "3 V", "rate": "10 V/s"},
                                {"do": "ramp", "name": "up", "signal": "supply.voltage_cmd", "to": "13.5 V", "rate": "10 V/s",
                                 "for": "3 s"})");
  rig.write("restart.json", plan);
  for (const auto& [software, status] : {std::pair{"2.4.1", 0}, {"2.5.0", 4}}) {
    CAPTURE(software);
    const auto runs = rig.file(std::string{"runs-"} + software);
    const auto run = rig.start({"rehearse", rig.file("restart.json"), "--bench", rig.file("bench-diagnosis.json"),
                                "--truth-set", std::string{"identity.restarted_software="} + software, "--runs", runs},
                               "restart");
    CHECK(run->wait(60s) == status);
    CAPTURE(run->out(), run->err());
    const auto folder = newest_run(runs);
    const auto invalid = Json::parse(slurp(folder + "/run.json"))["invalid"].dump();
    CHECK(mentions(invalid, "its software was '2.4.1' and is '2.5.0'") == (status != 0));
    const auto dead_time = findings_named(Json::parse(slurp(folder + "/findings.json")), "delay.dead_time");
    REQUIRE(dead_time.size() == 1);
    CHECK(dead_time[0].verdict == (status != 0 ? "invalid" : "pass"));
  }
}

TEST_CASE("a fault that comes up in the steps is in the memory after them, and the event has its name") {
  DiagnosisRig rig;
  auto plan = slurp(DemoRig::source("tests/system/short_response.json"));
  plan = replaced(plan, R"({"do": "hold", "name": "rest", "for": "500 ms"})",
                  R"({"do": "ramp", "name": "sag", "signal": "supply.voltage_cmd", "to": "9 V", "rate": "10 V/s"},
                     {"do": "hold", "name": "low", "for": "500 ms"})");
  rig.write("sag.json", plan);
  const auto run = rig.start(
      {"rehearse", rig.file("sag.json"), "--bench", rig.file("bench-diagnosis.json"), "--runs", rig.file("runs2")},
      "sag");
  CAPTURE(run->err());
  CHECK(run->wait(60s) == 0);
  const auto folder = newest_run(rig.file("runs2"));
  const auto record = Json::parse(slurp(folder + "/run.json"));
  CHECK(record["fault_memory"]["before"]["diagnosis"] == Json{"empty"});
  CHECK(mentions(record["fault_memory"]["after"]["diagnosis"].dump(), "5A0216 (C1A02-16): test failed"));
  CHECK(mentions(slurp(folder + "/events.jsonl"), "fault 5A0216 (C1A02-16) 'supply_low'"));
}

}  // namespace
}  // namespace trackrod::test
