#pragma once
// Whole runs in the virtual machine, against the simulated bench as a process of its own.

#include <cmath>
#include <filesystem>
#include <nlohmann/json.hpp>
#include <string>
#include <vector>

#include "tests/catch.hpp"
#include "tests/system/demo_rig.hpp"

namespace trackrod::test {

struct Simulator {
  Process process;
  explicit Simulator(const std::string& bench)
      : process{{TRACKROD_PROGRAM, "simulate", "--bench", bench}, "/tmp/simulator"} {
    const bool ready =
        eventually([&] { return process.out().find("ready") != std::string::npos || !process.running(); }, 20s);
    INFO(process.err());
    REQUIRE((ready && process.running()));
  }
};

// `command`: run or rehearse. Its runs go into /tmp/`log`.
inline Process start(const std::string& command, const std::string& on, const std::string& log) {
  const auto plan = DemoRig::source("tests/vm/can_plan.json");
  std::vector<std::string> arguments{TRACKROD_PROGRAM, "--json", command, plan, "--bench", on, "--runs", "/tmp/" + log};
  if (command == "run") arguments.insert(arguments.end(), {"--confirmed-by", "test"});
  return Process{arguments, "/tmp/" + log};
}

inline std::string folder_in(const std::string& runs) {
  std::string newest;
  for (const auto& entry : std::filesystem::directory_iterator{runs})
    if (entry.is_directory()) newest = std::max(newest, entry.path().string());
  return newest;
}

// All that a run has written into events.jsonl so far, or its log while it is under way.
inline bool log_has(const std::string& runs, const std::string& words) {
  std::error_code none;
  if (!std::filesystem::exists(runs, none)) return false;
  const auto folder = folder_in(runs);
  return !folder.empty() && slurp(folder + "/run.log").find(words) != std::string::npos;
}

// A 95 % interval misses what is so one time in twenty, and hardly ever by as much again.
inline bool near_truth(const Read& found, double truth) {
  return std::abs(found.value.value_or(INFINITY) - truth) <= found.high - found.low;
}

}  // namespace trackrod::test
