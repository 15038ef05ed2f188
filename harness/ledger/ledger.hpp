#pragma once
// The ledger: every run, what it was made with, what it found and how that was judged. A convenience beside the run
// folders, from which it can be made again. Several processes may read and write one ledger at once; an object of this
// class belongs to one thread. Everything blocks: a writer waits up to half a minute for another one.

#include <functional>
#include <memory>
#include <string>
#include <vector>

#include "harness/ledger/entry.hpp"
#include "harness/ledger/whereabouts.hpp"

namespace trackrod {

// Which findings and runs. Of a text that is empty all. `finding`, `step`, `requirement` and `verdict` are of findings.
struct HistoryFilter {
  std::string unit;  // serial number, or name of the kind of unit
  std::string plan, bench;
  std::string since, until;  // days, both included
  std::string finding, step, requirement, verdict;
  bool every_scoring{false};  // else the last one that has such findings
};

// How many findings of one scoring came out so; an empty verdict: without a limit.
struct VerdictCount {
  std::string verdict;
  std::int64_t count{0};
};

// A run under one scoring, or under none where it has no findings.
struct HistoryRun {
  RunEntry run;                        // without its lists
  int scoring{0}, scorings{0};         // this one, and the number of the last one
  std::string plan;                    // of the scoring
  std::vector<VerdictCount> verdicts;  // of those findings that the filter lets through
};

// A finding, and the run that it is of.
struct HistoryFinding {
  RunEntry run;  // without its lists
  int scoring{0};
  std::string plan;  // of the scoring
  LedgerFinding finding;
  int ordinal{1};  // among those of its name, step and signals in this scoring: they come in the order of the plan
};

// What stands under a name somewhere in the ledger, for what looks names up.
enum class LedgerName { unit, plan, bench, finding, step, requirement };

// A run's folder, as it is entered.
struct EnteredFolder {
  std::string run, folder;
};

class Ledger {
 public:
  // With `make`, one that is not there is made. One of an earlier version is brought to the present one. Error kinds:
  // bad_input where there is none, bad_frame where it is damaged or no ledger at all, refused where it is newer than
  // this program or its database is not to be had, timed_out, storage.
  static Result<Ledger> open(const LedgerAt& at, bool make);
  Ledger(Ledger&&) noexcept;
  Ledger& operator=(Ledger&&) noexcept;
  ~Ledger();

  // One change, as the only writer: all of it or nothing, also when the process is killed. What `what` reads elsewhere,
  // it reads while no other writer is at work, so the last writer has seen the newest. An error of `what` undoes it.
  class Change;
  Result<void> change(const std::function<Result<void>(Change&)>& what);

  // Looks through the whole file; bad_frame where something in it is damaged.
  Result<void> whole();

  // In the order of time.
  Result<std::vector<HistoryRun>> runs(const HistoryFilter& filter);
  Result<std::vector<HistoryFinding>> findings(const HistoryFilter& filter);
  Result<std::vector<std::string>> names(LedgerName of);
  Result<std::vector<EnteredFolder>> folders(const std::string& place);

 private:
  struct State;
  explicit Ledger(std::unique_ptr<State> state);
  std::unique_ptr<State> state_;
};

class Ledger::Change {
 public:
  // In place of what stands there under the same run, if anything.
  void enter(const RunEntry& entry);
  void forget_all(const std::string& place);

 private:
  friend class Ledger;
  explicit Change(State& state) : state_{state} {}
  State& state_;
};

}  // namespace trackrod
