// One plan, one unit, several benches: what the findings rest on must not be the kind of link.

#include <cmath>
#include <map>
#include <set>

#include "tests/catch.hpp"
#include "tests/system/demo_rig.hpp"

using namespace trackrod::test;

namespace {

// The findings that a requirement hangs on, or that describe the unit at rest.
const std::set<std::string> compared{"delay.dead_time",   "delay.gain",     "delay.lost_motion",
                                     "step.delay_50",     "step.overshoot", "hysteresis.width_corrected",
                                     "step.steady_error", "ratio.overall"};

struct Found {
  double value, half_width;
  std::string verdict;
};
using Findings = std::map<std::string, Found>;

Findings rehearse(const DemoRig& rig, const std::string& bench) {
  const auto program = rig.start({"--json", "rehearse", DemoRig::source("plans/acceptance.json"), "--bench",
                                  DemoRig::source("fixtures/demo_bench/" + bench), "--runs", rig.file("runs")},
                                 bench);
  const int status = program->wait(300s);
  INFO(bench << ": " << program->err());
  REQUIRE((status == 0 || status == 4));
  Findings all;
  const auto text = program->out();
  const auto findings = nlohmann::json::parse(text);
  for (const auto& f : findings.at("findings")) {
    const std::string name = f.at("name");
    if (compared.count(name) == 0 || f.at("value").is_null()) continue;
    const double low = f.at("interval").at(0), high = f.at("interval").at(1);
    all[name + " of " + f.at("step").get<std::string>() + f.at("signals").dump()] = {
        f.at("value"), (high - low) / 2, f.at("verdict").is_null() ? "" : f.at("verdict").get<std::string>()};
  }
  return all;
}

}  // namespace

TEST_CASE(
    "the acceptance plan finds the same over UDP, serial lines, CAN, CANopen and a relay box, within what it states") {
  const DemoRig rig;
  const auto reference = rehearse(rig, "bench.json");
  REQUIRE(reference.size() > 15);
  for (const auto* bench : {"bench-udp.json", "bench-serial.json", "bench-can.json", "bench-canopen.json",
                            "bench-faults.json", "bench-relays-scpi.json"}) {
    const auto other = rehearse(rig, bench);
    CHECK(other.size() == reference.size());
    for (const auto& [name, found] : other) {
      const auto& expected = reference.at(name);
      CAPTURE(bench, name, found.value, found.half_width, expected.value, expected.half_width);
      CHECK(std::abs(found.value - expected.value) <= found.half_width + expected.half_width);
      CHECK(found.verdict == expected.verdict);
    }
  }
}
