// Bad input: a clear error, and nothing moves, nothing is made.

#include "tests/catch.hpp"
#include "tests/system/demo_rig.hpp"
#include "tests/system/simulator_log.hpp"

using namespace trackrod::test;

TEST_CASE("a broken bench or plan is refused with its place, and no device hears of it") {
  DemoRig rig;
  rig.simulate();
  const auto plan = slurp(DemoRig::source("tests/system/short_response.json"));
  SECTION("a plan that asks for more than the bench allows") {
    rig.write("plan.json", replaced(plan, "\"amplitude\": \"20 deg\"", "\"amplitude\": \"300 deg\""));
    auto program = rig.run_plan(rig.file("plan.json"));
    CHECK(program->wait(10s) == 2);
    CHECK(program->err().find("plan.json:") != std::string::npos);
    CHECK(program->err().find("300 deg") != std::string::npos);
    CHECK(nlohmann::json::parse(program->out()).at("problems").size() >= 1);
  }
  SECTION("a bench with a misspelt signal") {
    rig.write("plan.json", plan);
    rig.write("bench.json",
              replaced(slurp(rig.bench()), "\"setpoint\": \"hand.angle_cmd\"", "\"setpoint\": \"hand.angel_cmd\""));
    auto program = rig.run_plan(rig.file("plan.json"));
    CHECK(program->wait(10s) == 2);
    CHECK(program->err().find("did you mean 'hand.angle_cmd'?") != std::string::npos);
  }
  SECTION("a variable that the plan does not have") {
    rig.write("plan.json", plan);
    auto program = rig.run_plan(rig.file("plan.json"), {"--set", "spede=3 km/h"});
    CHECK(program->wait(10s) == 2);
    CHECK(program->err().find("spede") != std::string::npos);
  }
  SECTION("nobody confirms") {
    rig.write("plan.json", plan);
    auto program = rig.start({"run", rig.file("plan.json"), "--bench", rig.bench(), "--runs", rig.file("runs")});
    CHECK(program->wait(10s) == 2);
    CHECK(program->out().find("hard-wired") != std::string::npos);
  }
  SECTION("no such file") {
    auto program = rig.run_plan(rig.file("absent.json"));
    CHECK(program->wait(10s) == 2);
    CHECK(program->err().find("absent.json") != std::string::npos);
  }
  CHECK_FALSE(std::filesystem::exists(rig.file("runs")));
  CHECK(read_log(rig.file("simulator.log")).empty());  // not one command arrived
}

TEST_CASE("a bench whose ports are held by another program is refused with a sentence for each") {
  DemoRig rig;  // no simulator: the serial port does not exist
  rig.write("plan.json", slurp(DemoRig::source("tests/system/short_response.json")));
  auto program = rig.run_plan(rig.file("plan.json"));
  CHECK(program->wait(10s) == 5);
  CHECK(program->err().find(rig.file("supply")) != std::string::npos);
  CHECK_FALSE(std::filesystem::exists(rig.file("runs")));
}

TEST_CASE("usage errors are told apart from runs") {
  DemoRig rig;
  CHECK(rig.start({"run"})->wait(10s) == 2);
  CHECK(rig.start({"no-such-command"})->wait(10s) == 2);
  CHECK(rig.start({"score", rig.file("nowhere")})->wait(10s) == 2);
  CHECK(rig.start({"--help"})->wait(10s) == 0);
}

TEST_CASE("a folder that is damaged is said to be, and a run without findings is scored again") {
  DemoRig rig;
  rig.write("plan.json", slurp(DemoRig::source("tests/system/short_response.json")));
  auto rehearsal = rig.rehearse_plan(rig.file("plan.json"));
  const int status = rehearsal->wait(60s);
  INFO(rehearsal->err());
  REQUIRE((status == 0 || status == 1 || status == 4));
  const auto run = rig.run_folder();
  const auto first = slurp(run + "/findings.json");
  SECTION("scored again, the first findings stay and the second stand beside them") {
    CHECK(rig.start({"score", run}, "score")->wait(60s) == status);
    CHECK(slurp(run + "/findings.json") == first);
    CHECK(slurp(run + "/scores/002/findings.json") == first);
  }
  SECTION("its report is the same, byte for byte, however often it is made") {
    const auto report = slurp(run + "/report.html");
    CHECK(rig.start({"report", run}, "report")->wait(60s) == status);
    CHECK(slurp(run + "/report.html") == report);
  }
  SECTION("without its journal") {
    std::filesystem::remove_all(run + "/journal");
    auto program = rig.start({"score", run}, "score");
    CHECK(program->wait(60s) == 5);
    CHECK(program->err().find("journal") != std::string::npos);
  }
}
