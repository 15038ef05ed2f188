// Benches and plans that ask their devices what they are: whole runs, over real links and rehearsed.

#include "tests/catch.hpp"
#include "tests/system/demo_rig.hpp"
#include "tests/system/simulator_log.hpp"

namespace trackrod::test {
namespace {

using Json = nlohmann::json;

// What the simulated supply says: fixtures/simulator/scpi_supply.cpp.
constexpr auto model = "Bench supply 20 V";

std::string plan_that_requires(const DemoRig& rig, const std::string& requires_json) {
  const auto text = slurp(DemoRig::source("tests/system/short_response.json"));
  rig.write("plan.json", replaced(text, "\"settle\":", "\"requires\": " + requires_json + ",\n  \"settle\":"));
  return rig.file("plan.json");
}

Json record_of(const DemoRig& rig) { return Json::parse(slurp(rig.run_folder() + "/run.json")); }

bool mentions(const std::string& text, const std::string& words) { return text.find(words) != std::string::npos; }

void check_refused(const DemoRig& rig, int status, const std::string& told) {
  CHECK(status == 2);
  CHECK(mentions(told, "device 'supply' tells as its model '" + std::string{model} + "'; the plan allows 'Bench supply 60 V'"));
  const auto record = record_of(rig);
  CHECK(record["refused"] == true);
  CHECK(record["as_planned"] == false);
  CHECK(record["safe_state_reached"] == true);
  CHECK(mentions(record["identities"]["supply"].dump(), "model: " + std::string{model}));
  CHECK(mentions(slurp(rig.run_folder() + "/events.jsonl"), "says of itself: model: " + std::string{model}));
  CHECK(mentions(slurp(rig.run_folder() + "/report.html"), "Bench supply 60 V"));
}

TEST_CASE("a run is refused before anything moves when a device is not what the plan requires") {
  DemoRig rig;
  rig.simulate();
  const auto run = rig.run_plan(plan_that_requires(rig, R"({"supply": {"model": "Bench supply 60 V"}})"));
  const int status = run->wait(60s);
  CAPTURE(run->out(), run->err());
  check_refused(rig, status, run->err());
  // Beside what the loop sends of itself from its first tick on, which is rest, nothing was switched on.
  for (const auto& line : read_log(rig.file("simulator.log")))
    if (line.what == "command") CHECK(line.value == 0.0);
}

TEST_CASE("a run's folder says which program recorded it, with which rights, and how fast the machine can be") {
  DemoRig rig;
  rig.simulate();
  const auto run = rig.run_plan(plan_that_requires(rig, R"({"supply": {"model": "Bench supply 60 V"}})"));
  run->wait(60s);
  const auto host = record_of(rig)["host"];
  CAPTURE(host.dump(2));
  // The system's own tool gives the same hash.
  const Process sum{{"/usr/bin/sha256sum", TRACKROD_PROGRAM}, rig.file("sum")};
  REQUIRE(eventually([&] { return sum.out().size() > 64; }, 10s));
  CHECK(host["build"] == "sha256:" + sum.out().substr(0, 64));
  for (const auto* fact : {"kernel", "cores", "real-time kernel", "clock source", "loop", "keeper"})
    CHECK_FALSE(host.value(fact, "").empty());
  for (const auto* floor :
       {"floor: tick of 1 kHz, late by", "floor: udp, handed over to taken", "floor: serial (pty), handed over to taken"})
    CHECK(mentions(host.value(floor, ""), " us at worst"));
  CHECK(mentions(slurp(rig.run_folder() + "/report.html"), "floor: tick of 1 kHz, late by"));
}

TEST_CASE("a rehearsal refuses what the run would refuse") {
  DemoRig rig;
  const auto run = rig.rehearse_plan(plan_that_requires(rig, R"({"supply": {"model": "Bench supply 60 V"}})"));
  const int status = run->wait(60s);
  CAPTURE(run->out(), run->err());
  check_refused(rig, status, run->err());
}

TEST_CASE("a rehearsal goes on when the devices are what bench and plan ask for, and keeps what they said") {
  DemoRig rig;
  rig.write("bench.json", replaced(slurp(rig.bench()), "\"clock_asymmetry\": \"2 ms\"",
                                   R"("clock_asymmetry": "2 ms", "identity": {"maker": "Invented"})"));
  const auto run =
      rig.rehearse_plan(plan_that_requires(rig, R"({"supply": {"model": ["Bench supply 60 V", "Bench supply 20 V"]}})"));
  const int status = run->wait(60s);
  CAPTURE(run->out(), run->err());
  CHECK(status == 0);
  CHECK(mentions(record_of(rig)["identities"]["supply"].dump(), "maker: Invented"));
}

TEST_CASE("a rehearsal is refused when a device is not the one that the bench file names") {
  DemoRig rig;
  rig.write("bench.json", replaced(slurp(rig.bench()), "\"clock_asymmetry\": \"2 ms\"",
                                   R"("clock_asymmetry": "2 ms", "identity": {"serial": "S-7"})"));
  const auto run = rig.rehearse_plan(DemoRig::source("tests/system/short_response.json"));
  CHECK(run->wait(60s) == 2);
  CHECK(mentions(run->err(), "device 'supply' tells as its serial '0'; the bench file allows 'S-7'"));
}

}  // namespace
}  // namespace trackrod::test
