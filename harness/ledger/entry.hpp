#pragma once
// What the ledger keeps of a run: plain values. The run folder is the truth; an entry can be made from it at any time.

#include <cstdint>
#include <optional>
#include <string>
#include <utility>
#include <vector>

namespace trackrod {

// One finding, as in findings.json (docs/findings.md) but for its budget.
struct LedgerFinding {
  std::string name, step;
  std::vector<std::string> signals;
  std::vector<std::pair<std::string, std::string>> conditions;
  std::optional<double> value;
  std::string unit;                                                 // of all numbers but `coverage`
  std::optional<double> standard_uncertainty, low, high, coverage;  // low, high: the interval
  std::string limit_kind;                                           // "at_most", ...; empty: no limit
  std::optional<double> limit_low, limit_high;
  std::string rule, requirement, verdict, reason;  // empty: none

  bool operator==(const LedgerFinding&) const = default;
};

// One scoring of a run.
struct LedgerScoring {
  int number{1};                // the first one is 1
  std::string plan, plan_hash;  // whose criteria were applied
  std::vector<LedgerFinding> findings;

  bool operator==(const LedgerScoring&) const = default;
};

struct LedgerFile {
  std::string name;  // within the folder
  std::int64_t bytes{0};
  std::string sha256;  // empty: not known

  bool operator==(const LedgerFile&) const = default;
};

// What a device said of itself.
struct LedgerIdentity {
  std::string device, said;  // "serial: 0042"

  bool operator==(const LedgerIdentity&) const = default;
};

struct RunEntry {
  std::string place;           // where the folder lies; empty: beside the ledger, else "machine:/path/of/runs"
  std::string folder;          // its name there
  std::string run;             // identifier, as in run.json; in one place a run is entered once
  std::string started, ended;  // ISO 8601 with offset; empty: not known
  std::int64_t at{0};          // s since 1970 (UTC), by which runs stand in order
  std::string day;             // of `at`, as the clock on the wall showed it: "2026-11-25"
  double duration_s{0.0};
  std::string program, build;  // version in words, hash of the program's file
  std::string plan, plan_hash, bench, bench_hash;
  std::string unit_name, unit, part_number, software;  // `unit`: serial number; the last two: as it said itself
  bool rehearsal{false}, imported{false}, unattended{false};
  bool as_planned{false}, tripped{false}, refused{false};
  std::string ending;
  std::string after;                 // the run that it goes on from
  std::string seal;                  // hash of seal.json; empty: not sealed
  std::vector<std::string> invalid;  // why the run says nothing of the unit
  std::vector<LedgerIdentity> identities;
  std::vector<LedgerFile> files;
  std::vector<LedgerScoring> scorings;

  bool operator==(const RunEntry&) const = default;
};

}  // namespace trackrod
