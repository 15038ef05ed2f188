// Nothing moves before the interlocks were proven this shift, and two persons agreed to what needs two.

#include <nlohmann/json.hpp>

#include "tests/catch.hpp"
#include "tests/system/shift_rig.hpp"

using namespace trackrod::test;

namespace {

std::string one_fault(const std::string& fault) {
  return R"({"plan": "fault", "settle": "100 ms", "steps": [
    {"do": "parallel", "name": "fault", "tracks": [
      [{"do": "hold", "for": "600 ms"}],
      [{"do": "hold", "for": "200 ms"}, {"do": "inject", "fault": ")" +
         fault + R"(", "for": "200 ms"}]]}], "criteria": []})";
}

struct Shift : ShiftRig {
  Shift() {
    write("plan.json", one_fault("hand_a_open"));
    write("two.json", one_fault("motor_1_ground"));
  }
  // What a run of the plan says, and its exit status.
  std::pair<int, std::string> run(const std::string& plan, const std::vector<std::string>& more = {}) {
    const auto program = run_plan(file(plan), more);
    const int status = program->wait(60s);
    return {status, program->err()};
  }
};

bool has(const std::string& text, const std::string& part) { return text.find(part) != std::string::npos; }

}  // namespace

TEST_CASE("a run waits until its interlocks were exercised or confirmed, and keeps who did so") {
  Shift shift;
  shift.simulate();
  const auto [refused, words] = shift.run("plan.json");
  CHECK(refused == 2);
  CHECK(has(words, "'emergency_stop' (never proven)"));
  CHECK(has(words, "'hand_torque' (never proven)"));
  CHECK_FALSE(std::filesystem::exists(shift.file("runs")));

  shift.prove();
  const auto [status, said] = shift.run("plan.json");
  INFO(said);
  CHECK(status == 0);
  const auto run = nlohmann::json::parse(slurp(shift.run_folder() + "/run.json"));
  CHECK(has(run.at("proofs").at("emergency_stop"), "exercised by Ada, 20"));
  CHECK(has(run.at("proofs").at("road_force"), "confirmed by Ada, 20"));
  CHECK(has(slurp(shift.run_folder() + "/report.html"), "exercised by Ada"));
}

TEST_CASE("a proof lapses with the shift, with a change of the bench file, and with a new start of the machine") {
  Shift shift;
  shift.simulate();
  shift.prove();
  const auto proven = shift.proofs();
  const auto refused_for = [&](const std::string& why) {
    const auto [status, words] = shift.run("plan.json");
    CHECK(status == 2);
    INFO(words);
    CHECK(has(words, "'emergency_stop' (" + why));
  };
  std::string old, booted;
  std::istringstream lines{proven};
  for (std::string line; std::getline(lines, line);) {
    if (line.empty()) continue;
    auto proof = nlohmann::json::parse(line);
    const auto when = proof.at("when_s").get<long>();
    proof["when_s"] = when - 13 * 3600;
    old += proof.dump() + "\n";
    proof["when_s"] = when;
    proof["boot"] = "another";
    booted += proof.dump() + "\n";
  }
  shift.write_proofs(old);
  refused_for("lapsed 1 h");
  shift.write_proofs(booted);
  refused_for("this machine was started since");
  shift.write_proofs(proven.substr(0, proven.size() / 8));  // as a loss of power may leave it
  refused_for("never proven");
  shift.write_proofs(proven);
  const auto bench = slurp(shift.bench());
  shift.write("bench-faults.json", bench + "\n");
  refused_for("the bench file was changed since");
  shift.write("bench-faults.json", bench);
  CHECK(shift.run("plan.json").first == 0);
}

TEST_CASE("an interlock that nobody breaks, or that a wire cut off, is not proven") {
  Shift shift;
  SECTION("nobody breaks it") {
    shift.simulate();
    const auto check = shift.check_shift({"--confirmed-by", "Ada", "--within", "300 ms"});
    CHECK(check->wait(20s) == 4);
    CHECK(has(check->out(), "'emergency_stop': NOT PROVEN: it was not seen to break"));
    CHECK(has(check->out(), "'hand_torque': NOT PROVEN: not confirmed; name it with --confirm hand_torque"));
  }
  SECTION("nothing is there to be seen") {
    const auto check = shift.check_shift({"--confirmed-by", "Ada", "--within", "300 ms", "--confirm", "hand_torque"});
    CHECK(check->wait(20s) == 4);
    CHECK(has(check->out(), "'emergency_stop': NOT PROVEN: it does not hold, or 'bench.stop_chain' has no value"));
    CHECK(has(check->out(), "'hand_torque': confirmed"));
  }
  SECTION("what is no interlock to confirm") {
    const auto check = shift.check_shift({"--confirmed-by", "Ada", "--confirm", "emergency_stop"});
    CHECK(check->wait(20s) == 2);
    CHECK(has(check->err(), "--confirm: found 'emergency_stop'; allowed: an interlock with 'proof' \"confirm\""));
  }
}

TEST_CASE("a fault that two persons must agree to is not made for one") {
  Shift shift;
  shift.simulate();
  shift.prove();
  CHECK(has(shift.run("two.json").second, "a second person, who agrees to 'motor_1_ground', with --and-by NAME"));
  CHECK(has(shift.run("two.json", {"--and-by", " TEST"}).second, "two persons must agree; found ' TEST' twice"));
  CHECK(shift.run("two.json", {"--and-by", "Grace"}).first != 2);
  const auto run = nlohmann::json::parse(slurp(shift.run_folder() + "/run.json"));
  CHECK(run.at("confirmed_by") == "test");
  CHECK(run.at("and_by") == "Grace");
}

TEST_CASE("a bench runs unattended only where its file allows it; the run then outlives its terminal") {
  Shift shift;
  shift.simulate();
  shift.prove();
  CHECK(has(shift.run("plan.json", {"--unattended"}).second, "may not run while nobody stands at it"));
  shift.write("bench-faults.json",
              replaced(slurp(shift.bench()), "\"proof_lasts\"", "\"unattended\": true, \"proof_lasts\""));
  shift.simulate();
  shift.prove();
  CHECK(has(shift.run("two.json", {"--unattended"}).second, "which needs two persons at the bench"));
  const auto run = shift.run_plan(shift.file("plan.json"), {"--unattended"});
  REQUIRE(eventually([&] { return has(run->err(), "step 1 of 1"); }, 20s));
  REQUIRE(run->running());
  run->signal(SIGHUP);
  CHECK(run->wait(60s) == 0);
  CHECK(nlohmann::json::parse(slurp(shift.run_folder() + "/run.json")).at("unattended") == true);
}

TEST_CASE("an emergency stop trips the run, and the power is off by the wire already") {
  Shift shift;
  shift.simulate();
  shift.prove();
  shift.write("long.json", R"({"plan": "long", "settle": "100 ms",
    "steps": [{"do": "hold", "name": "quiet", "for": "30 s"}], "criteria": []})");
  const auto run = shift.run_plan(shift.file("long.json"));
  REQUIRE(eventually([&] { return has(run->err() + run->out(), "quiet"); }, 20s));
  shift.simulator().signal(SIGUSR2);
  CHECK(run->wait(60s) == 3);
  CHECK(has(slurp(shift.run_folder() + "/run.log"), "emergency_stop"));
  CHECK(nlohmann::json::parse(slurp(shift.run_folder() + "/run.json")).at("safe_state_reached") == true);
}
