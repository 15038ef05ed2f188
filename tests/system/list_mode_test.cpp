// A supply that leads a drop-out by itself: its own timing, what it does when the run is cut short, and what happens
// when it does not take the list.

#include <csignal>

#include "harness/capture/journal_capture.hpp"
#include "tests/catch.hpp"
#include "tests/system/demo_rig.hpp"
#include "tests/system/simulator_log.hpp"

namespace trackrod::test {
namespace {

// A short interruption, and a staircase of 8 s.
std::string plan(const std::string& steps) {
  return R"({"plan": "lists", "start": {"supply.voltage_cmd": "13.5 V", "vehicle.speed": "0 km/h"}, "settle": "1 s",
    "steps": [{"do": "hold", "name": "before", "for": "1 s"}, )" +
         steps + R"(, {"do": "hold", "name": "after", "for": "1 s"}], "criteria": []})";
}
constexpr char drop[] =
    R"({"do": "profile", "name": "drop", "signal": "supply.voltage_cmd", "points": [{"at": "200 ms", "value": "13.5 V"},
        {"at": "210 ms", "value": "12.5 V"}, {"at": "330 ms", "value": "12.5 V"}, {"at": "340 ms", "value": "13.5 V"}, {"at": "800 ms", "value": "13.5 V"}]})";
constexpr char stairs[] =
    R"({"do": "staircase", "name": "stairs", "signal": "supply.voltage_cmd", "to": "11.5 V", "treads": 8, "tread_time": "1 s", "rise_rate": "100 V/s"})";

struct ListRig : DemoRig {
  ListRig() { take_bench("bench-list.json"); }
  std::unique_ptr<JournalCapture> capture() const {
    return std::move(*JournalCapture::open(run_folder() + "/journal"));
  }
};

std::size_t count(const CaptureView& capture, EventKind kind) {
  return static_cast<std::size_t>(std::ranges::count(capture.events(), kind, &Event::kind));
}

// Seconds from the first to the last value below a level that was measured in the step 'drop'.
double time_below(const CaptureView& capture, double level) {
  const auto span = *std::ranges::find(capture.spans(), "drop", &Span::step);
  std::vector<BenchTime> below;
  const auto points = *capture.points(*capture.find("supply.voltage"), span.from, span.to);
  for (const auto& p : points)
    if (p.value < level) below.push_back(p.when);
  return below.empty() ? 0.0 : seconds(below.back() - below.front());
}

}  // namespace

TEST_CASE(
    "a drop-out that the supply leads is as long and as deep as planned, and one that the loop leads is the same") {
  ListRig rig;
  rig.write("plan.json", plan(drop));
  // Runs of one second are not told apart by their names.
  const auto rehearse = [&](const std::vector<std::string>& more) {
    std::filesystem::remove_all(rig.file("runs"));
    const auto program = rig.rehearse_plan(rig.file("plan.json"), more);
    REQUIRE(program->wait(60s) == 0);
    return rig.capture();
  };
  const auto led = rehearse({});
  CHECK(count(*led, EventKind::list_started) == 1);
  CHECK(count(*led, EventKind::list_not_taken) == 0);
  // Measured each 5 ms; the supply slews at 100 V/s.
  CHECK(time_below(*led, 12.9) == Approx(0.128).margin(0.012));

  const auto plain = rehearse({"--truth-set", "supply.lists=false"});
  CHECK(count(*plain, EventKind::list_started) == 0);
  CHECK(count(*plain, EventKind::list_not_taken) == 1);
  CHECK(count(*plain, EventKind::device_message) > 0);  // the supply says that it knows no such command
  CHECK(time_below(*plain, 12.9) == Approx(0.128).margin(0.03));
}

TEST_CASE("a run that is stopped, or whose loop is killed, leaves no list running") {
  ListRig rig;
  rig.simulate();
  rig.write("plan.json", plan(stairs));
  const auto run = rig.run_plan(rig.file("plan.json"));
  const auto voltages = [&] { return commands(read_log(rig.file("simulator.log")), "supply.voltage_cmd"); };
  const auto treads = [&] {
    const auto all = voltages();
    return std::ranges::count_if(all, [](const LogLine& l) { return l.value > 11.0 && l.value < 13.4; });
  };
  REQUIRE(eventually([&] { return treads() >= 2; }, 30s));  // in the middle of the list
  const bool kill_loop = GENERATE(false, true);
  CAPTURE(kill_loop);
  if (kill_loop)
    kill(child_with(run->pid(), "loop"), SIGKILL);
  else
    run->signal(SIGINT);
  const int status = run->wait(30s);
  CHECK(status != 0);
  const auto capture = rig.capture();
  CHECK(count(*capture, EventKind::list_started) == 1);
  const auto since = monotonic_ns();
  const auto before = treads();
  // Longer than a tread: one that ran on would show its next one.
  std::this_thread::sleep_for(1500ms);
  CHECK(treads() == before);
  const auto off = commands(read_log(rig.file("simulator.log")), "supply.output");
  REQUIRE_FALSE(off.empty());
  CHECK(off.back().value == 0.0);
  CHECK(off.back().t_ns < since);
}

}  // namespace trackrod::test
