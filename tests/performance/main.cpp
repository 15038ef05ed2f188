// Prints how near the harness comes to what this machine can do. The machine may be shared and noisy: read the ratios,
// and repeat before believing a difference.
//   performance [--short] [capture] [added-time] [lateness] [rehearsal] [score] [safe-state]     no name: all

#include <cstdio>
#include <exception>
#include <string>
#include <thread>
#include <vector>

#include "tests/performance/figures.hpp"

using namespace trackrod::performance;

namespace {

struct Part {
  std::string name;
  void (*run)(const Wish&);
};

}  // namespace

int main(int count, char** words) try {
  const std::vector<Part> parts{{"capture", capture_rate}, {"added-time", added_time}, {"lateness", lateness},
                                {"rehearsal", rehearsal},  {"score", score_night},     {"safe-state", safe_state}};
  Wish wish;
  std::vector<Part> wanted;
  for (int i = 1; i < count; ++i) {
    const std::string word = words[i];
    const auto part = std::find_if(parts.begin(), parts.end(), [&](const Part& p) { return p.name == word; });
    if (part != parts.end()) {
      wanted.push_back(*part);
    } else if (word == "--short") {
      wish = short_wish;
    } else {
      std::fprintf(stderr,
                   "performance: found '%s'; allowed: --short, capture, added-time, lateness, rehearsal, score, "
                   "safe-state\n",
                   word.c_str());
      return 2;
    }
  }
  std::printf("trackrod performance, %u cores\n", std::thread::hardware_concurrency());
  for (const auto& part : wanted.empty() ? parts : wanted) {
    part.run(wish);
    std::fflush(stdout);
  }
} catch (const std::exception& e) {
  std::fprintf(stderr, "performance: %s\n", e.what());
  return 5;
}
