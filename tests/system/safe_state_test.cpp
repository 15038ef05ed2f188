// Whatever dies, the bench ends in its safe state within its declared time, and what was recorded scores. The simulated
// drive's own command time-out is off, so that it cannot help.

#include "tests/catch.hpp"
#include "tests/system/demo_rig.hpp"
#include "tests/system/simulator_log.hpp"

using namespace trackrod::test;

namespace {

constexpr char long_sweep[] = R"({
  "plan": "sweep", "control": {"hand_wheel": "position"}, "start": {"hand.angle_cmd": "0 deg", "vehicle.speed": "10 km/h"}, "settle": "200 ms",
  "steps": [
    {"do": "step", "name": "left", "signal": "hand.angle_cmd", "to": "20 deg", "slew": "400 deg/s", "for": "500 ms"},
    {"do": "triangle", "name": "sweep", "signal": "hand.angle_cmd", "amplitude": "20 deg", "centre": "0 deg", "rate": "60 deg/s", "cycles": 200}],
  "criteria": [{"score": "step", "steps": ["left"], "signals": {"input": "hand.angle", "output": "road.angle"},
                "limits": [{"finding": "overshoot", "at_most": "40 %"}]}]
})";

// The bench's declared time, and what this shared machine may add in scheduling.
constexpr std::int64_t declared_ns = 800'000'000, slack_ns = 500'000'000;

// A run that sweeps.
struct Sweeping {
  DemoRig rig;
  std::unique_ptr<Process> keeper;
  pid_t loop{-1};

  Sweeping() {
    rig.write("sweep.json", long_sweep);
    rig.simulate({"drive.command_timeout=never"});
    keeper = rig.run_plan(rig.file("sweep.json"));
    const bool sweeping = eventually([&] { return commands(log(), "hand.angle_cmd").size() > 800; }, 20s);
    INFO(keeper->out() << keeper->err());
    REQUIRE(sweeping);
    loop = child_with(keeper->pid(), "loop");
    REQUIRE(loop > 0);
  }
  std::vector<LogLine> log() const { return read_log(rig.file("simulator.log")); }

  // Checks that from `since` on the ordered writes of the safe state arrived in time, and no setpoint after them.
  void check_safe(std::int64_t since, std::int64_t within_ns) const {
    // The simulator's log reaches the file a little later than the event.
    (void)eventually([&] { return !commands(log(), "supply.output", since).empty(); }, 5s);
    const auto modes = commands(log(), "hand.mode", since);
    REQUIRE_FALSE(modes.empty());
    CHECK(modes.back().value == 0.0);  // free
    CHECK(modes.back().t_ns - since < within_ns);
    const auto output = commands(log(), "supply.output", since);
    REQUIRE_FALSE(output.empty());
    CHECK(output.back().value == 0.0);
    CHECK(output.back().t_ns - since < within_ns);
    CHECK(output.back().t_ns > modes.front().t_ns);  // first the stop, then the power
    CHECK(commands(log(), "hand.angle_cmd", modes.back().t_ns + 1).empty());
  }
  void check_scores() const {
    auto again = rig.start({"--json", "score", rig.run_folder()}, "score");
    again->wait(60s);
    INFO(again->err());
    const auto findings = nlohmann::json::parse(again->out());
    CHECK(findings_named(findings, "step.overshoot").at(0).value.has_value());
  }
  nlohmann::json run_json() const { return nlohmann::json::parse(slurp(rig.run_folder() + "/run.json")); }
};

}  // namespace

TEST_CASE("killing the loop in mid-run leaves the drive in its safe state and a capture that scores") {
  Sweeping s;
  const auto killed = monotonic_ns();
  kill(s.loop, SIGKILL);
  CHECK(s.keeper->wait(60s) == 3);
  s.check_safe(killed, declared_ns + slack_ns);
  CHECK(s.run_json().at("ending").get<std::string>().find("the loop died") != std::string::npos);
  CHECK(s.run_json().at("safe_state_reached") == true);
  s.check_scores();
}

TEST_CASE("a loop that hangs is ended by its keeper, which drives the safe state") {
  Sweeping s;
  const auto stopped = monotonic_ns();
  kill(s.loop, SIGSTOP);
  CHECK(s.keeper->wait(60s) == 3);
  s.check_safe(stopped, declared_ns + slack_ns);
  CHECK(s.run_json().at("ending").get<std::string>().find("hung") != std::string::npos);
}

TEST_CASE("when the keeper is killed the loop drives the safe state itself and ends") {
  Sweeping s;
  const auto killed = monotonic_ns();
  s.keeper->signal(SIGKILL);
  CHECK(s.keeper->wait(10s) == 128 + SIGKILL);
  CHECK(eventually([&] { return kill(s.loop, 0) != 0; }, 10s));
  s.check_safe(killed, declared_ns + slack_ns);
  s.check_scores();
}

TEST_CASE("Ctrl-C and a request to end each stop the run in good order") {
  const int number = GENERATE(SIGINT, SIGTERM);
  Sweeping s;
  const auto asked = monotonic_ns();
  s.keeper->signal(number);
  CHECK(s.keeper->wait(60s) == 3);
  s.check_safe(asked, declared_ns + slack_ns);
  CHECK(s.run_json().at("tripped") == false);
  s.check_scores();
}

TEST_CASE("a bench that falls silent trips the run, and the missing confirmation is an alarm") {
  Sweeping s;
  s.rig.simulator().signal(SIGSTOP);
  CHECK(s.keeper->wait(60s) == 5);
  s.rig.simulator().signal(SIGCONT);
  CHECK(s.run_json().at("tripped") == true);
  CHECK(s.run_json().at("safe_state_reached") == false);
  CHECK(s.keeper->err().find("hit the hard-wired stop") != std::string::npos);
  // The safe state was sent all the same; the drive took it when it came back.
  CHECK(eventually(
      [&] {
        const auto modes = commands(s.log(), "hand.mode");
        return modes.back().value == 0.0;
      },
      5s));
}
