#pragma once
// Runs of an invented unit, and a place for their ledger.

#include <cstdlib>
#include <filesystem>
#include <stdexcept>

#include "harness/ledger/ledger.hpp"

namespace trackrod::test {

class Place {
 public:
  Place() {
    char name[] = "/tmp/trackrod-ledger-XXXXXX";
    if (mkdtemp(name) == nullptr) throw std::runtime_error{"no folder for the test"};
    folder_ = name;
  }
  Place(const Place&) = delete;
  Place& operator=(const Place&) = delete;
  ~Place() { std::filesystem::remove_all(folder_); }
  const std::string& folder() const { return folder_; }
  std::string file() const { return folder_ + "/ledger.db"; }
  LedgerAt at() const { return LedgerAt::beside(folder_); }

 private:
  std::string folder_;
};

inline LedgerFinding made_finding(double value, const std::string& verdict = "pass") {
  LedgerFinding f;
  f.name = "delay.dead_time";
  f.step = "triangle-20";
  f.signals = {"hand.angle_ref", "road.angle_ref"};
  f.conditions = {{"vehicle.speed", "40.0 km/h"}, {"hand_wheel", "position"}};
  f.value = value;
  f.unit = "ms";
  f.standard_uncertainty = 0.57;
  f.low = value - 1.12;
  f.high = value + 1.12;
  f.coverage = 0.95;
  f.limit_kind = "at_most";
  f.limit_high = 50.0;
  f.rule = "guarded";
  f.requirement = "SW-STEER-012";
  f.verdict = verdict;
  return f;
}

inline LedgerFinding without_value() {
  LedgerFinding f;
  f.name = "hysteresis.width";
  f.step = "sweep \"slow\"; drop table runs; --";
  f.unit = "deg";
  f.verdict = "inconclusive";
  f.reason = "kein Wert: ±∞, 'nichts'";
  return f;
}

// Of the day `number` of November 2026.
inline RunEntry made_entry(int number, const std::string& unit = "LV3-017-0001") {
  const auto day = std::string{number < 10 ? "0" : ""} + std::to_string(number);
  RunEntry e;
  e.run = "202611" + day + "-140312-response-" + unit + "-7f3a";
  e.folder = e.run;
  e.started = "2026-11-" + day + "T14:03:12+01:00";
  e.ended = "2026-11-" + day + "T14:05:02+01:00";
  e.at = 1793451792 + 86400LL * number;  // the first term: 2026-10-31 13:03:12 UTC
  e.day = "2026-11-" + day;
  e.duration_s = 110.25;
  e.program = "trackrod 0.1.0";
  e.build = "sha256:abc";
  e.plan = "response";
  e.plan_hash = "01";
  e.bench = "demo";
  e.bench_hash = "02";
  e.unit_name = "LV3-017";
  e.unit = unit;
  e.software = "2.4.1";
  e.as_planned = true;
  e.ending = "finished";
  e.invalid = {"the fault memory held an entry"};
  e.identities = {{"diagnosis", "serial: " + unit}, {"diagnosis", "software: 2.4.1"}};
  e.files = {{"run.json", 2345, ""}, {"plan.json", 6000000000, "01"}};
  e.scorings = {{1, "response", "01", {made_finding(41.0 + number), without_value()}},
                {2, "response", "01", {made_finding(43.0 + number, "fail")}}};
  return e;
}

inline Result<void> enter(Ledger& ledger, const RunEntry& entry) {
  return ledger.change([&](Ledger::Change& change) -> Result<void> {
    change.enter(entry);
    return {};
  });
}

}  // namespace trackrod::test
