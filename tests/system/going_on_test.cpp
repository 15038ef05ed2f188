// After a trip: what was left is told, and a run goes on from there, bound to the one before.

#include <nlohmann/json.hpp>

#include "tests/catch.hpp"
#include "tests/system/shift_rig.hpp"

using namespace trackrod::test;

namespace {

constexpr char five_steps[] = R"({
  "plan": "five", "control": {"hand_wheel": "position"}, "start": {"hand.angle_cmd": "0 deg", "vehicle.speed": "10 km/h"}, "settle": "100 ms", "variables": {"far": "20 deg"},
  "steps": [
    {"do": "step", "name": "left", "signal": "hand.angle_cmd", "to": "${far}", "slew": "400 deg/s", "for": "300 ms"},
    {"do": "hold", "name": "out", "for": "500 ms"},
    {"do": "hold", "name": "long", "for": "6 s"},
    {"do": "step", "name": "right", "signal": "hand.angle_cmd", "to": "0 deg", "slew": "400 deg/s", "for": "300 ms"},
    {"do": "hold", "name": "rest", "for": "300 ms"}],
  "criteria": [{"score": "step", "steps": ["right"], "signals": {"input": "hand.angle", "output": "road.angle"},
                "limits": [{"finding": "overshoot", "at_most": "60 %"}]}]
})";

bool has(const std::string& text, const std::string& part) { return text.find(part) != std::string::npos; }

// A run on the bench with an emergency stop that is pressed in the step 'long'.
struct CutShort : ShiftRig {
  std::string first;  // the run's folder

  CutShort() {
    write("five.json", five_steps);
    simulate();
    prove();
    const auto run = run_plan(file("five.json"));
    demand(eventually([&] { return has(run->err(), "step 3 of 5"); }, 20s), "the run does not come to its third step");
    simulator().signal(SIGUSR2);
    CHECK(run->wait(60s) == 3);
    simulator().signal(SIGUSR2);
    first = run_folder();
  }
  std::pair<int, std::string> go_on(const std::vector<std::string>& more) const {
    auto words = more;
    words.insert(words.begin(), {"--after", first});
    const auto run = run_plan(file("five.json"), words);
    const int status = run->wait(60s);
    return {status, run->err()};
  }
};

}  // namespace

TEST_CASE("after a trip the report shows what broke, about that instant, and what stays valid") {
  const CutShort cut;
  const auto page = slurp(cut.first + "/report.html");
  CHECK(has(page, "The trip"));
  CHECK(has(page, "&#39;emergency_stop&#39; broken at 0") + has(page, "'emergency_stop' broken at 0") == 1);
  CHECK(has(page, "bench.stop_chain' about the trip") + has(page, "bench.stop_chain&#39; about the trip") >= 1);
  CHECK(has(page, "2 steps of 5 had been completed and stay valid"));
  // Recorded for two seconds after it.
  double trip = 0.0, last = 0.0;
  std::istringstream events{slurp(cut.first + "/events.jsonl")};
  for (std::string line; std::getline(events, line);) {
    const auto event = nlohmann::json::parse(line);
    if (event.at("kind") == "tripped") trip = event.at("t");
  }
  last = nlohmann::json::parse(slurp(cut.first + "/run.json")).at("duration_s");
  CHECK(last - trip >= 1.9);
}

TEST_CASE("a run goes on with the first step that another one left, and says so") {
  const CutShort cut;
  const auto [status, words] = cut.go_on({});
  INFO(words);
  CHECK(status == 0);
  CHECK(has(words, "with step 'long'"));
  const auto run = nlohmann::json::parse(slurp(cut.run_folder() + "/run.json"));
  CHECK(run.at("from") == "long");
  CHECK(has(cut.first, run.at("after")));
  std::vector<std::string> begun;
  std::istringstream events{slurp(cut.run_folder() + "/events.jsonl")};
  for (std::string line; std::getline(events, line);) {
    const auto event = nlohmann::json::parse(line);
    if (event.at("kind") == "step_started") begun.push_back(event.at("words"));
  }
  CHECK(begun == std::vector<std::string>{"step 'long' began", "step 'right' began", "step 'rest' began"});
  // The wheel starts where 'long' finds it: at 20 deg, from which 'right' steps.
  const auto findings = nlohmann::json::parse(slurp(cut.run_folder() + "/findings.json"));
  for (const auto& f : findings.at("findings"))
    if (f.at("name") == "step.overshoot") CHECK(f.at("verdict") == "pass");
  // And scores again as it ran.
  const auto again = cut.start({"score", cut.run_folder()}, "again");
  CHECK(again->wait(60s) == 0);
}

TEST_CASE("a run goes on only with the plan and bench of the other, and from a step there is") {
  CutShort cut;
  CHECK(has(cut.go_on({"--from", "righ"}).second, "did you mean 'right'?"));
  CHECK(has(cut.go_on({"--set", "far=10 deg"}).second, "ran with other --set"));
  const auto alone = cut.run_plan(cut.file("five.json"), {"--from", "long"});
  CHECK(alone->wait(20s) == 2);
  CHECK(has(alone->err(), "name it with --after RUN"));
  cut.write("five.json", replaced(five_steps, "60 %", "61 %"));
  CHECK(has(cut.go_on({}).second, "ran another plan, or this one before it was changed"));
}
