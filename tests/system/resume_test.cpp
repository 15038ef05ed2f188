// A long run that was killed goes on with the pass after its last whole one, once somebody is at the bench again.

#include <csignal>

#include "harness/capture/journal_capture.hpp"
#include "tests/catch.hpp"
#include "tests/system/shift_rig.hpp"

namespace trackrod::test {
namespace {

using Json = nlohmann::json;

std::string plan(const std::string& repeat) {
  return R"({
    "plan": "passes", "control": {"hand_wheel": "position"},
    "start": {"hand.angle_cmd": "0 deg", "vehicle.speed": "10 km/h"}, "settle": "100 ms",
    "steps": [
      {"do": "repeat", )" +
         repeat + R"(, "steps": [
        {"do": "triangle", "name": "sweep", "signal": "hand.angle_cmd", "amplitude": "16 deg", "rate": "60 deg/s",
         "acceleration": "4000 deg/s^2", "cycles": 2}]},
      {"do": "hold", "name": "rest", "for": "300 ms"}],
    "criteria": [{"score": "drift", "of": {"score": "hysteresis"}, "finding": "width_apparent", "steps": ["sweep"],
      "signals": {"input": "hand.angle", "output": "road.angle"},
      "limits": [{"finding": "change", "within": ["-50 %", "50 %"]}]}]})";
}

std::vector<std::uint32_t> cycles_of(const std::string& folder) {
  std::vector<std::uint32_t> cycles;
  const auto capture = *JournalCapture::open(folder + "/journal");
  for (const auto& span : capture->spans())
    if (span.step == "sweep" && span.complete) cycles.push_back(span.cycle);
  return cycles;
}

Json record_of(const std::string& folder) { return Json::parse(slurp(folder + "/run.json")); }

// A run whose keeper is killed in its fourth pass.
struct Killed : ShiftRig {
  std::string first;

  explicit Killed(const std::string& repeat) {
    write("plan.json", plan(repeat));
    simulate();
    prove();
    const auto run = run_plan(file("plan.json"));
    const auto at_pass = [&](int n) {
      return run->err().find("pass " + std::to_string(n)) != std::string::npos ||
             run->err().find("step " + std::to_string(n) + " of") != std::string::npos;
    };
    demand(eventually([&] { return at_pass(4) || !run->running(); }, 40s) && run->running(),
           "no fourth pass: " + run->err());
    const auto loop = child_with(run->pid(), "loop");
    demand(loop > 0, "no loop");
    run->signal(SIGKILL);
    run->wait(10s);
    // Without its keeper the loop brings the bench to its safe state, and gives the links back.
    demand(eventually([&] { return !std::filesystem::exists("/proc/" + std::to_string(loop)); }, 20s),
           "the loop stays");
    first = run_folder();
  }
  std::unique_ptr<Process> resume(const std::string& folder, const std::vector<std::string>& more = {}) const {
    std::vector<std::string> words{"--json", "run",        "--resume",       folder,
                                   "--runs", file("runs"), "--confirmed-by", "Ada"};
    words.insert(words.end(), more.begin(), more.end());
    return start(words, "resume");
  }
};

bool has(const std::string& text, const std::string& part) { return text.find(part) != std::string::npos; }

}  // namespace

TEST_CASE(
    "a killed run goes on with its next pass, with its counts and its trend, once the interlocks were proven anew") {
  Killed rig{R"("times": 10, "keep": {})"};
  const auto made = cycles_of(rig.first);
  REQUIRE(made.size() >= 3);

  SECTION("not by itself: the proofs of before do not count") {
    const auto refused = rig.resume(rig.first);
    CHECK(refused->wait(20s) == 2);
    CHECK(has(refused->err(), "that nobody proved since the run was interrupted"));
    CHECK(has(refused->err(), "'emergency_stop'"));
    CHECK(rig.run_folder() == rig.first);  // no new one: nothing moved
  }
  SECTION("as a run of its own") {
    rig.prove();
    const auto resumed = rig.resume(rig.first);
    CAPTURE(resumed->err());
    REQUIRE(resumed->wait(90s) == 0);
    const auto second = rig.run_folder();
    REQUIRE(second != rig.first);
    std::vector<std::uint32_t> rest;
    for (auto n = static_cast<std::uint32_t>(made.size()); n < 10; ++n) rest.push_back(n);
    CHECK(cycles_of(second) == rest);
    const auto record = record_of(second);
    CHECK(record["after"] == record_of(rig.first)["run"]);
    CHECK(record["made_before"]["passes"] == made.size());
    CHECK(has(record["notes"].dump(), "after " + std::to_string(made.size()) + " whole passes; nothing ran for"));
    // The trend has the passes of both.
    for (const auto& f : Json::parse(slurp(second + "/findings.json"))["findings"])
      if (f["name"] == "drift.change") CHECK(f["conditions"]["cycles"] == "10");
    CHECK(has(slurp(second + "/report.html"), "nothing ran for"));

    SECTION("one that is complete does not go on") {
      const auto again = rig.resume(second);
      CHECK(again->wait(20s) == 2);
      CHECK(has(again->err(), "in no repeat that could go on"));
    }
  }
}

TEST_CASE("a resumed repeat by time lasts for what is left of it") {
  Killed rig{R"("lasts": "16 s")"};
  rig.prove();
  const auto resumed = rig.resume(rig.first);
  CAPTURE(resumed->err());
  const int status = resumed->wait(90s);
  CHECK((status == 0 || status == 4));  // few cycles may not be enough for a trend
  const auto first = cycles_of(rig.first), second = cycles_of(rig.run_folder());
  REQUIRE_FALSE(second.empty());
  CHECK(second.front() == first.size());
  // 16 s are 7.5 passes of 2.13 s: the one under way then is finished, and one may be announced by then.
  CHECK(second.back() + 1 >= 8);
  CHECK(second.back() + 1 <= 9);
  CHECK(record_of(rig.run_folder())["made_before"]["spent_ns"].get<double>() > 5e9);
}

TEST_CASE("what cannot be resumed is said, and nothing moves") {
  DemoRig rig;
  rig.simulate();
  rig.write("plan.json", R"({"plan": "one", "steps": [{"do": "hold", "name": "only", "for": "4 s"}], "criteria": []})");
  const auto run = rig.run_plan(rig.file("plan.json"));
  REQUIRE(eventually([&] { return run->err().find("only") != std::string::npos; }, 20s));
  run->signal(SIGINT);
  run->wait(20s);
  const auto words = [&](const std::vector<std::string>& more) {
    std::vector<std::string> all{"run", "--runs", rig.file("runs")};
    all.insert(all.end(), more.begin(), more.end());
    const auto refused = rig.start(all, "refused");
    CHECK(refused->wait(20s) == 2);
    return refused->err();
  };
  using Catch::Contains;
  CHECK_THAT(words({"--resume", rig.run_folder()}), Contains("in no repeat that could go on"));
  CHECK_THAT(words({"--resume", rig.file("nowhere")}), Contains("nowhere"));
  CHECK_THAT(words({"--resume", rig.run_folder(), rig.file("plan.json")}), Contains("leave out PLAN"));
  CHECK_THAT(words({}), Contains("--resume RUN"));

  SECTION("and where no interlock is exercised, a name on the command line is nobody at the bench") {
    rig.write("plan.json", plan(R"("times": 50)"));
    const auto longer = rig.run_plan(rig.file("plan.json"));
    REQUIRE(eventually([&] { return longer->err().find("step 2 of") != std::string::npos; }, 30s));
    longer->signal(SIGINT);
    longer->wait(20s);
    CHECK_THAT(words({"--resume", rig.run_folder(), "--confirmed-by", "Ada"}),
               Contains("types a name at the terminal"));
  }
}

}  // namespace trackrod::test
