// How long it takes from each way of failing until the simulated drive is told to stop and the power is off: the table
// of docs/safety.md. The times are those of the simulator's log, stamped by the kernel where a command arrives.

#include <cstdio>
#include <functional>
#include <optional>

#include "tests/performance/figures.hpp"
#include "tests/system/shift_rig.hpp"
#include "tests/system/simulator_log.hpp"

namespace trackrod::performance {
namespace {

using namespace trackrod::test;

constexpr char sweep[] = R"({
  "plan": "sweep", "control": {"hand_wheel": "position"}, "start": {"hand.angle_cmd": "0 deg"}, "settle": "200 ms",
  "steps": [{"do": "triangle", "name": "sweep", "signal": "hand.angle_cmd", "amplitude": "20 deg", "centre": "0 deg",
             "rate": "60 deg/s", "cycles": 200}], "criteria": []})";

// A run on the bench for faults that sweeps, and what its simulator logs.
struct Sweeping {
  ShiftRig rig;
  std::unique_ptr<Process> keeper;
  pid_t loop{-1};

  explicit Sweeping(const std::string& drive_timeout) {
    rig.write("sweep.json", sweep);
    rig.simulate({"drive.command_timeout=" + drive_timeout});
    rig.prove();
    keeper = rig.run_plan(rig.file("sweep.json"));
    demand(eventually([&] { return commands(log(), "hand.angle_cmd").size() > 800; }, 30s),
           "the run does not sweep: " + keeper->err());
    loop = child_with(keeper->pid(), "loop");
    demand(loop > 0, "no loop");
  }
  std::vector<LogLine> log() const { return read_log(rig.file("simulator.log")); }
};

struct Way {
  const char* name;
  const char* drive_timeout;  // "never" where the drive must not help
  std::function<void(Sweeping&)> fail;
  bool by_drive{false};  // nothing of ours is left to drive the safe state
};

std::vector<Way> ways() {
  return {
      {"trip: the emergency stop", "never", [](Sweeping& s) { s.rig.simulator().signal(SIGUSR2); }},
      {"stop: Ctrl-C", "never", [](Sweeping& s) { s.keeper->signal(SIGINT); }},
      {"stop: asked to end (SIGTERM)", "never", [](Sweeping& s) { s.keeper->signal(SIGTERM); }},
      {"stop: terminal closed (SIGHUP)", "never", [](Sweeping& s) { s.keeper->signal(SIGHUP); }},
      {"loop killed", "never", [](Sweeping& s) { kill(s.loop, SIGKILL); }},
      {"loop hangs", "never", [](Sweeping& s) { kill(s.loop, SIGSTOP); }},
      {"keeper killed", "never", [](Sweeping& s) { s.keeper->signal(SIGKILL); }},
      {"devices silent", "never", [](Sweeping& s) { s.rig.simulator().signal(SIGSTOP); }},
      {"host frozen: the drive's own time-out", "100 ms",
       [](Sweeping& s) {
         s.keeper->signal(SIGSTOP);
         kill(s.loop, SIGSTOP);
       },
       true},
  };
}

// Of the first line after `since` that `is`; none: it did not come.
std::optional<double> ms_until(const std::vector<LogLine>& log, std::int64_t since,
                               const std::function<bool(const LogLine&)>& is) {
  for (const auto& line : log)
    if (line.t_ns >= since && is(line)) return 1e-6 * static_cast<double>(line.t_ns - since);
  return {};
}

struct Took {
  std::optional<double> stop, power;  // ms
};

Took measure(const Way& way) {
  Sweeping s{way.drive_timeout};
  const auto since = monotonic_ns();
  way.fail(s);
  if (way.by_drive) {
    std::this_thread::sleep_for(1s);
    kill(s.loop, SIGKILL);
    s.keeper->signal(SIGKILL);
  } else {
    s.keeper->wait(30s);
    s.rig.simulator().signal(SIGCONT);  // where it was stopped, it takes now what was sent meanwhile
    (void)eventually([&] { return kill(s.loop, 0) != 0; }, 10s);
  }
  std::this_thread::sleep_for(300ms);  // the simulator's log comes a little later
  const auto log = s.log();
  return {ms_until(log, since,
                   [&](const LogLine& l) {
                     return way.by_drive ? l.what == "state" && l.signal == "hand.state" && l.value == 4.0
                                         : l.what == "command" && l.signal == "hand.mode" && l.value == 0.0;
                   }),
          ms_until(log, since, [](const LogLine& l) {
            return l.what == "command" && l.signal == "supply.output" && l.value == 0.0;
          })};
}

void print(const std::vector<double>& times, int rounds, const char* none) {
  if (times.empty())
    std::printf("  %-22s", none);
  else
    std::printf("  %7.1f %8.1f %2zu/%-2d", median(times), *std::max_element(times.begin(), times.end()), times.size(),
                rounds);
}

}  // namespace

void safe_state(const Wish& wish) {
  const int rounds = wish.blocks / 2;
  std::printf(
      "\nsafe state: ms from the failure until the drive is told to stop, and until the supply is told to be off\n");
  std::printf("%-40s  %7s %8s %-5s  %7s %8s %-5s\n", "", "median", "greatest", "seen", "median", "greatest", "seen");
  for (const auto& way : ways()) {
    std::vector<double> stop, power;
    for (int i = 0; i < rounds; ++i) {
      const auto took = measure(way);
      if (took.stop) stop.push_back(*took.stop);
      if (took.power) power.push_back(*took.power);
    }
    std::printf("%-40s", way.name);
    print(stop, rounds, "never");
    print(power, rounds, "not by this program");
    std::printf("\n");
    std::fflush(stdout);
  }
}

}  // namespace trackrod::performance
