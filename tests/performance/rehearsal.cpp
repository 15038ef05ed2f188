#include <chrono>
#include <cstdio>

#include "tests/performance/figures.hpp"
#include "tests/performance/night_plan.hpp"

namespace trackrod::performance {
namespace {

using namespace trackrod::test;

struct Cost {
  double took{0};  // s; of the whole command
  double memory_mb{0};
  std::string said;  // what the program says of the rehearsal itself
};

Cost rehearse(double hours) {
  DemoRig rig;
  rig.write("night.json", night_plan(hours, {}));  // nothing is scored: what is timed is the rehearsal
  const auto start = std::chrono::steady_clock::now();
  const auto program = rig.rehearse_plan(rig.file("night.json"));
  const int status = program->wait(std::chrono::hours{2});
  Cost cost{std::chrono::duration<double>(std::chrono::steady_clock::now() - start).count(),
            static_cast<double>(program->most_memory()) / 1024.0, ""};
  std::istringstream lines{program->err()};
  for (std::string line; std::getline(lines, line);)
    if (status != 0 || line.rfind("rehearsed ", 0) == 0) cost.said += line;
  return cost;
}

}  // namespace

void rehearsal(const Wish& wish) {
  std::printf("rehearsal of the acceptance plan's motions, again and again, on the demo bench\n");
  for (const double share : {0.25, 0.5, 1.0}) {
    const auto cost = rehearse(share * wish.hours);
    std::printf("  %.2f h: %s; the whole command, with its archive, %.0f s, at most %.1f MB\n", share * wish.hours,
                cost.said.c_str(), cost.took, cost.memory_mb);
    std::fflush(stdout);
  }
}

}  // namespace trackrod::performance
