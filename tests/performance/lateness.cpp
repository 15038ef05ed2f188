#include <cstdio>
#include <fstream>
#include <regex>

#include "harness/capture/journal_capture.hpp"
#include "tests/performance/figures.hpp"
#include "tests/system/demo_rig.hpp"

namespace trackrod::performance {
namespace {

using namespace trackrod::test;

constexpr int blocks = 3;

struct Block {
  double p50{0}, p99{0}, most{0};  // us
  double work_p50{0}, work_p99{0};
  std::uint64_t missed{0};
  double steal{0};  // share of the time that the host took away
};

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
Block with_steal(F&& measure) {
  const auto before = stolen_and_all();
  Block b = measure();
  const auto after = stolen_and_all();
  b.steal = (after.first - before.first) / std::max(1.0, after.second - before.second);
  return b;
}

// A run of the demo bench at this rate.
Block ours(int rate_hz, int seconds_long) {
  DemoRig rig;
  rig.write("bench.json", replaced(slurp(rig.bench()), "\"loop_rate\": \"1 kHz\"",
                                   "\"loop_rate\": \"" + std::to_string(rate_hz) + " Hz\""));
  rig.write(
      "plan.json",
      R"({"plan": "hold", "control": {"hand_wheel": "position"}, "start": {"hand.angle_cmd": "0 deg"}, "settle": "100 ms",
    "steps": [{"do": "hold", "name": "rest", "for": ")" +
          std::to_string(seconds_long) + R"( s"}]})");
  rig.simulate();
  rig.run_plan(rig.file("plan.json"))->wait(std::chrono::seconds{seconds_long + 60});
  const auto capture = JournalCapture::open(rig.run_folder() + "/journal");
  if (!capture) return {};
  const auto& t = (*capture)->timing();
  const auto us = [](Duration d) { return seconds(d) * 1e6; };
  return {us(t.late_p50), us(t.late_p99), us(t.late_max), us(t.work_p50), us(t.work_p99), t.missed, 0};
}

// cyclictest with the same priority, interval and duration, from its histogram.
Block reference(int rate_hz, int seconds_long) {
  DemoRig rig;  // for its folder
  const int interval = 1'000'000 / rate_hz;
  Process peer{{"cyclictest", "-q", "-m", "-t1", "-p40", "-i" + std::to_string(interval),
                "-l" + std::to_string(seconds_long * rate_hz), "-h5000"},
               rig.file("cyclictest")};
  if (peer.wait(std::chrono::seconds{seconds_long + 60}) != 0) return {};
  std::vector<double> late;
  std::istringstream lines{peer.out()};
  Block b;
  for (std::string line; std::getline(lines, line);) {
    int bin = 0, count = 0;
    if (std::sscanf(line.c_str(), "%d %d", &bin, &count) == 2)
      late.insert(late.end(), static_cast<std::size_t>(count), bin);
    if (line.rfind("# Max Latencies:", 0) == 0) b.most = std::stod(line.substr(17));
  }
  b.p50 = percentile(late, 50);
  b.p99 = percentile(late, 99);
  return b;
}

double median(std::vector<double> values) {
  std::sort(values.begin(), values.end());
  return values.empty() ? 0.0 : values[values.size() / 2];
}

}  // namespace

void lateness() {
  for (const int rate : {1000, 4000}) {
    std::vector<double> p50, p99;
    for (int i = 0; i < blocks; ++i) {
      const auto us = with_steal([&] { return ours(rate, 10); });
      const auto peer = with_steal([&] { return reference(rate, 10); });
      std::printf(
          "tick lateness at %d Hz, us: ours p50 %.0f p99 %.0f max %.0f (missed %llu, steal %.1f %%), work p50 %.0f p99 "
          "%.0f; "
          "cyclictest p50 %.0f p99 %.0f max %.0f (steal %.1f %%)\n",
          rate, us.p50, us.p99, us.most, static_cast<unsigned long long>(us.missed), 100 * us.steal, us.work_p50,
          us.work_p99, peer.p50, peer.p99, peer.most, 100 * peer.steal);
      if (us.steal > 0.01 || peer.steal > 0.01 || peer.p50 <= 0) continue;
      p50.push_back(us.p50 / peer.p50);
      p99.push_back(us.p99 / peer.p99);
    }
    if (p50.size() < 2)
      std::printf("  not measurable: fewer than two blocks in which the host left us the cores\n");
    else
      std::printf("  median ratio to cyclictest over %zu blocks: p50 %.2f, p99 %.2f\n", p50.size(), median(p50),
                  median(p99));
  }
}

}  // namespace trackrod::performance
