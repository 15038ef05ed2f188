// Held against what the simulated bench really did. A real-time run on a busy machine may be inconclusive; it may not
// be wrong.

#include <cstdlib>
#include <iomanip>
#include <iostream>
#include <random>
#include <sstream>

#include "tests/catch.hpp"
#include "tests/system/demo_rig.hpp"

using namespace trackrod::test;

namespace {

nlohmann::json findings_of(Process& program) {
  const int status = program.wait(180s);
  INFO(program.err());
  REQUIRE((status == 0 || status == 1 || status == 4));
  return nlohmann::json::parse(program.out());
}

std::string ms(double value) { return std::to_string(value) + " ms"; }

// How often the test over real links runs: 3 times, or as TRACKROD_TRUTH_RUNS asks.
int wanted_runs() {
  const char* asked = std::getenv("TRACKROD_TRUTH_RUNS");
  return asked == nullptr ? 3 : std::stoi(asked);
}

constexpr double limit_ms = 30.0;  // of tests/system/short_response.json

struct Attempt {
  double truth_ms{0};
  Read found;

  bool inside() const { return found.value && found.low <= truth_ms && truth_ms <= found.high; }
  bool wrong() const {
    return (found.verdict == "pass" && truth_ms > limit_ms) || (found.verdict == "fail" && truth_ms <= limit_ms);
  }
  std::string row(int number) const {
    std::ostringstream out;
    out << std::fixed << std::setprecision(2) << std::setw(4) << number << std::setw(10) << truth_ms;
    if (found.value)
      out << std::setw(10) << *found.value << "   " << std::setw(6) << found.low << " to " << std::setw(6) << found.high
          << (inside() ? "   inside " : "   OUTSIDE");
    else
      out << "      none                        -    ";
    out << "   " << found.verdict << (wrong() ? ", WRONG" : "");
    return out.str() + (found.reason.empty() ? "" : " (" + found.reason + ")") + "\n";
  }
};

}  // namespace

TEST_CASE("in virtual time the dead time is found within 0.1 ms beside its stated uncertainty, whatever it is") {
  const auto seed = std::random_device{}();
  CAPTURE(seed);
  std::mt19937 random{seed};
  const double dead_time = std::uniform_real_distribution<>{8.0, 60.0}(random);
  CAPTURE(dead_time);
  DemoRig rig;
  auto program = rig.rehearse_plan(DemoRig::source("plans/response.json"),
                                   {"--truth-set", "road.dead_time=" + ms(dead_time), "--seed", std::to_string(seed)});
  const auto found = findings_named(findings_of(*program), "delay.dead_time");
  REQUIRE_FALSE(found.empty());
  for (const auto& f : found) {
    INFO(f.reason);
    REQUIRE(f.value);
    CAPTURE(*f.value, f.low, f.high);
    CHECK(f.low - 0.1 <= dead_time);
    CHECK(dead_time <= f.high + 0.1);
  }
}

TEST_CASE("over real links a changed dead time shows in the finding, and no verdict is wrong") {
  const auto seed = std::random_device{}();
  CAPTURE(seed);
  std::mt19937 random{seed};
  const int runs = wanted_runs();
  int inside = 0, wrong = 0;
  std::string table = "seed " + std::to_string(seed) + ", limit 30 ms\n run  truth/ms  found/ms   interval/ms\n";
  for (int run = 1; run <= runs; ++run) {
    Attempt attempt{std::uniform_real_distribution<>{8.0, 60.0}(random), {}};
    INFO(table);
    CAPTURE(run, attempt.truth_ms);
    DemoRig rig;
    rig.simulate({"road.dead_time=" + ms(attempt.truth_ms)});
    // One weave at one speed: a few seconds.
    auto program = rig.run_plan(DemoRig::source("tests/system/short_response.json"));
    const auto found = findings_named(findings_of(*program), "delay.dead_time");
    REQUIRE(found.size() == 1);
    attempt.found = found[0];
    inside += attempt.inside() ? 1 : 0;
    wrong += attempt.wrong() ? 1 : 0;
    table += attempt.row(run);
  }
  std::cout << table << inside << " of " << runs << " truths inside, " << wrong << " verdicts wrong\n";
  CHECK(wrong == 0);
  if (runs >= 20) CHECK(20 * inside >= 17 * runs);  // of fewer, chance alone may put some outside
}
