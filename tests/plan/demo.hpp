#pragma once
// The demo bench and the plans shipped with it.

#include <filesystem>
#include <fstream>
#include <iterator>
#include <memory>
#include <string>
#include <vector>

#include "drivers/device/known_devices.hpp"
#include "harness/plan/preview.hpp"
#include "harness/score/scoring.hpp"
#include "tests/catch.hpp"

namespace trackrod::test {

inline const Catalogue& whole_catalogue() {
  static const auto known = [] {
    auto all = known_devices();
    all.scores = score_entries();
    return all;
  }();
  return known;
}

inline std::string slurp(const std::filesystem::path& path) {
  std::ifstream in{path, std::ios::binary};
  return {std::istreambuf_iterator<char>{in}, {}};
}

inline const std::filesystem::path source_dir{TRACKROD_SOURCE_DIR};

inline const Bench& demo_bench() {
  static const auto bench = [] {
    Problems problems;
    const auto sources = load_bench_sources(source_dir / "fixtures/demo_bench/bench.json");
    REQUIRE(sources);
    auto b = parse_bench(*sources, whole_catalogue(), problems);
    for (const auto& p : problems.sorted()) UNSCOPED_INFO(p.sentence());
    REQUIRE(b);
    return b;
  }();
  return *bench;
}

inline const std::vector<std::string>& shipped_plans() {
  static const std::vector<std::string> names{
      "response.json",  "on-centre.json", "endurance.json", "frequency.json", "play.json",       "end-stop.json",
      "following.json", "feedback.json",  "supply.json",    "degraded.json",  "acceptance.json", "speed-change.json",
      "grip-loss.json", "pothole.json",   "swerve.json",    "parking.json",   "hold-up.json",    "lowest-voltage.json"};
  return names;
}

struct PlanReading {
  std::unique_ptr<Plan> plan;
  std::vector<Problem> problems;
  std::string sentences() const {
    std::string all;
    for (const auto& p : problems) all += p.sentence() + "\n";
    return all;
  }
};
inline PlanReading read_plan(const std::string& text) {
  Problems problems;
  auto plan = parse_plan({{"plan.json", text}}, {}, demo_bench(), whole_catalogue(), problems);
  return {std::move(plan), problems.sorted()};
}

}  // namespace trackrod::test
