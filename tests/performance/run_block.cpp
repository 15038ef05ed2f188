#include "tests/performance/run_block.hpp"

#include <cstdio>
#include <fstream>

#include "harness/capture/journal_capture.hpp"
#include "harness/engine/realtime.hpp"
#include "tests/system/demo_rig.hpp"

namespace trackrod::performance {
namespace {

using namespace trackrod::test;

constexpr double most_steal = 0.01;

// Time that the host gave to others and all time, of all cores, in clock ticks.
std::pair<double, double> stolen_and_all() {
  std::ifstream in{"/proc/stat"};
  std::string cpu;
  in >> cpu;
  double all = 0, steal = 0, v = 0;
  for (int i = 0; i < 8 && in >> v; ++i) {
    all += v;
    if (i == 7) steal = v;
  }
  return {steal, all};
}

template <class F>
Block measured(F&& measure) {
  Block b;
  const auto before = stolen_and_all();
  measure(b);
  const auto after = stolen_and_all();
  b.steal = (after.first - before.first) / std::max(1.0, after.second - before.second);
  if (b.steal > most_steal) b.flaw = "the host took the cores away";
  if (b.late.empty() && b.flaw.empty()) b.flaw = "it did not run";
  std::sort(b.late.begin(), b.late.end());
  std::sort(b.work.begin(), b.work.end());
  return b;
}

double whole_us(Duration d) { return static_cast<double>(d / std::chrono::microseconds{1}); }

void run_demo(int rate_hz, int seconds_long, Block& b) {
  DemoRig rig;
  rig.write("bench.json", replaced(slurp(rig.bench()), "\"loop_rate\": \"1 kHz\"",
                                   "\"loop_rate\": \"" + std::to_string(rate_hz) + " Hz\""));
  rig.write(
      "plan.json",
      R"({"plan": "hold", "control": {"hand_wheel": "position"}, "start": {"hand.angle_cmd": "0 deg"}, "settle": "100 ms",
    "steps": [{"do": "hold", "name": "rest", "for": ")" +
          std::to_string(seconds_long) + R"( s"}]})");
  rig.simulate();
  const auto run = rig.run_plan(rig.file("plan.json"));
  if (const int status = run->wait(std::chrono::seconds{seconds_long + 60}); status != 0)
    b.flaw = "the run ended with status " + std::to_string(status);
  const auto capture = JournalCapture::open(rig.run_folder() + "/journal");
  if (!capture) return;
  (void)(*capture)->visit({nullptr, [&](auto ticks) {
                             for (const Tick& t : ticks) {
                               b.late.push_back(whole_us(Duration{t.late_ns}));
                               b.work.push_back(t.work_ns * 1e-3);
                             }
                           }});
  b.missed = (*capture)->timing().missed;
  if (slurp(rig.run_folder() + "/run.json").find("SCHED_FIFO") == std::string::npos) b.flaw = "no real-time priority";
}

void run_bare(int rate_hz, int seconds_long, Block& b) {
  const auto grant = become_realtime(loop_priority);
  if (!grant.fifo) b.flaw = grant.words;
  const int ticks = rate_hz * seconds_long;
  b.late.reserve(static_cast<std::size_t>(ticks));
  SteadyTime time;
  const Duration tick{1'000'000'000 / rate_hz};
  const auto start = time.now() + tick;
  for (int n = 0; n < ticks; ++n) {
    time.sleep_until(start + n * tick);
    b.late.push_back(whole_us(time.now() - (start + n * tick)));
  }
  leave_realtime();
}

// From its histogram.
void run_cyclictest(int rate_hz, int seconds_long, Block& b) {
  DemoRig rig;  // for its folder
  Process peer{{"cyclictest", "-q", "-m", "-t1", "-p" + std::to_string(loop_priority),
                "-i" + std::to_string(1'000'000 / rate_hz), "-l" + std::to_string(seconds_long * rate_hz), "-h5000"},
               rig.file("cyclictest")};
  if (const int status = peer.wait(std::chrono::seconds{seconds_long + 60}); status != 0)
    b.flaw = "cyclictest ended with status " + std::to_string(status);
  std::istringstream lines{peer.out()};
  for (std::string line; std::getline(lines, line);) {
    int us = 0, count = 0;
    if (std::sscanf(line.c_str(), "%d %d", &us, &count) == 2)
      b.late.insert(b.late.end(), static_cast<std::size_t>(count), us);
  }
}

}  // namespace

Block run_block(int rate_hz, int seconds_long) {
  return measured([&](Block& b) { run_demo(rate_hz, seconds_long, b); });
}

Block bare_block(int rate_hz, int seconds_long) {
  return measured([&](Block& b) { run_bare(rate_hz, seconds_long, b); });
}

Block reference_block(int rate_hz, int seconds_long) {
  return measured([&](Block& b) { run_cyclictest(rate_hz, seconds_long, b); });
}

}  // namespace trackrod::performance
