// How long it takes from each way of failing until the simulated drive is told to stop and the power is off: the table
// of docs/safety.md. The times are those of the simulator's log, stamped by the kernel where a command arrives.

#include <cstdio>
#include <functional>
#include <optional>

#include "harness/capture/journal_capture.hpp"
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

// Who can tell when the bench was brought to its safe state.
enum class Told : std::uint8_t {
  by_simulator,  // its log
  by_journal,    // of the run: nobody was there to take what was sent
  by_drive,      // its own state: nothing of ours was left
};

struct Way {
  const char* name;
  const char* drive_timeout;  // "never" where the drive must not help
  std::function<void(Sweeping&)> fail;
  Told told{Told::by_simulator};
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
      {"devices silent: sent all the same", "never", [](Sweeping& s) { s.rig.simulator().signal(SIGSTOP); },
       Told::by_journal},
      {"host frozen: the drive's own time-out", "100 ms",
       [](Sweeping& s) {
         s.keeper->signal(SIGSTOP);
         kill(s.loop, SIGSTOP);
       },
       Told::by_drive},
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

// The first write of the safe state, on the clock that the journal and this program share.
Took from_journal(const std::string& folder, std::int64_t since) {
  const auto capture = JournalCapture::open(folder + "/journal");
  demand(capture.has_value(), "the run left no journal");
  for (const auto& event : (*capture)->events())
    if (event.kind == EventKind::safe_write)
      return {1e-6 * static_cast<double>(event.when.time_since_epoch().count() - since), {}};
  return {};
}

Took from_log(const std::vector<LogLine>& log, std::int64_t since, bool by_drive) {
  const auto stopped = [&](const LogLine& l) {
    return by_drive ? l.what == "state" && l.signal == "hand.state" && l.value == 4.0
                    : l.what == "command" && l.signal == "hand.mode" && l.value == 0.0;
  };
  const auto off = [](const LogLine& l) {
    return l.what == "command" && l.signal == "supply.output" && l.value == 0.0;
  };
  return {ms_until(log, since, stopped), ms_until(log, since, off)};
}

Took measure(const Way& way) {
  Sweeping s{way.drive_timeout};
  const auto since = monotonic_ns();
  way.fail(s);
  if (way.told == Told::by_drive) {
    std::this_thread::sleep_for(1s);
    kill(s.loop, SIGKILL);
    s.keeper->signal(SIGKILL);
  } else {
    s.keeper->wait(30s);
    (void)eventually([&] { return kill(s.loop, 0) != 0; }, 10s);
  }
  if (way.told == Told::by_journal) {
    s.rig.simulator().signal(SIGCONT);
    return from_journal(s.rig.run_folder(), since);
  }
  std::this_thread::sleep_for(300ms);  // the simulator's log comes a little later
  return from_log(s.log(), since, way.told == Told::by_drive);
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
    print(power, rounds, way.told == Told::by_drive ? "not by this program" : "nobody to take it");
    std::printf("\n");
    std::fflush(stdout);
  }
}

}  // namespace trackrod::performance
