#include <chrono>
#include <cmath>
#include <cstdio>
#include <map>

#include "harness/capture/journal_capture.hpp"
#include "tests/performance/figures.hpp"
#include "tests/performance/night_plan.hpp"

namespace trackrod::performance {
namespace {

using namespace trackrod::test;

const std::vector<std::string> steps{"left_slow", "right_slow", "left_fast", "right_fast"};

struct Cost {
  double took{0}, memory_mb{0};
  std::string out;
};
Cost cost_of(Process& program) {
  const auto start = std::chrono::steady_clock::now();
  const int status = program.wait(std::chrono::hours{2});
  Cost cost{std::chrono::duration<double>(std::chrono::steady_clock::now() - start).count(),
            static_cast<double>(program.most_memory()) / 1024.0, program.out()};
  demand(status == 0 || status == 4, "it ended with " + std::to_string(status) + ": " + program.err());
  return cost;
}

// Both must have done the same work: the greatest difference of what both say.
struct Difference {
  double interval{0}, delay{0};  // ms
};
Difference between(const nlohmann::json& ours, const nlohmann::json& peer) {
  Difference d;
  for (const auto& f : ours.at("findings")) {
    if (f.at("value").is_null()) continue;
    const double value = f.at("value");
    if (f.at("name") == "bus.interval") {
      const double other = peer.at("intervals").at(f.at("signals").at(0).get<std::string>()).at("interval");
      d.interval = std::max(d.interval, std::abs(value - other));
    } else if (f.at("name") == "step.delay_50") {
      const double other = peer.at("steps").at(f.at("step").get<std::string>()).at("delay_50");
      d.delay = std::max(d.delay, std::abs(value - other));
    }
  }
  return d;
}

}  // namespace

void score_night(const Wish& wish) {
  DemoRig rig;
  const auto criteria = nlohmann::json::array(
      {{{"score", "step"}, {"steps", steps}, {"signals", {{"input", "hand.angle"}, {"output", "road.angle"}}}},
       {{"score", "bus"}}});
  rig.write("night.json", night_plan(wish.hours, criteria));
  const auto rehearsed = rig.rehearse_plan(rig.file("night.json"));
  demand(rehearsed->wait(std::chrono::hours{2}) != -1, "the rehearsal did not end");
  const auto run = rig.run_folder();

  const auto start = std::chrono::steady_clock::now();
  const auto capture = JournalCapture::open(run + "/journal");
  demand(capture.has_value(), "the journal does not open");
  const double read = std::chrono::duration<double>(std::chrono::steady_clock::now() - start).count();
  const auto program = rig.start({"--json", "score", run}, "score");
  const auto ours = cost_of(*program);
  std::vector<std::string> script{"/usr/bin/python3", DemoRig::source("tests/performance/night.py"),
                                  run + "/capture.h5"};
  script.insert(script.end(), steps.begin(), steps.end());
  Process python{script, rig.file("python")};
  const auto peer = cost_of(python);
  const auto same = between(nlohmann::json::parse(ours.out), nlohmann::json::parse(peer.out));

  std::printf(
      "scores of %d h, %.0f million samples: intervals of every measured signal, and every step\n"
      "  trackrod score %.1f s, at most %.0f MB; NumPy and h5py %.1f s, at most %.0f MB: x %.2f as fast\n"
      "  just reading and unpacking the journal %.1f s: x %.2f of that\n"
      "  the two differ by at most %.4f ms in an interval, %.3f ms in a delay\n",
      wish.hours, static_cast<double>((*capture)->sample_count()) / 1e6, ours.took, ours.memory_mb, peer.took,
      peer.memory_mb, peer.took / ours.took, read, ours.took / read, same.interval, same.delay);
}

}  // namespace trackrod::performance
