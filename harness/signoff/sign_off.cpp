#include "harness/signoff/sign_off.hpp"

#include <algorithm>

#include "harness/report/table.hpp"
#include "harness/signoff/layout.hpp"
#include "harness/signoff/waivers.hpp"

namespace trackrod {
namespace {

bool has_verdict(const Attempt& a) {
  return a.verdict == Verdict::pass || a.verdict == Verdict::fail || a.verdict == Verdict::inconclusive;
}

// Empty when the run did not reach the cell.
std::optional<Attempt> attempt_of(const TriedRun& run, const std::vector<std::size_t>& criteria) {
  Attempt a;
  a.run = run.id;
  std::optional<std::size_t> least;
  bool reached = false;
  for (const auto criterion : criteria) {
    const auto& result = run.results[criterion];
    reached = reached || result.repetitions > 0;
    least = std::min(least.value_or(result.repetitions), result.repetitions);
    a.findings.insert(a.findings.end(), result.findings.begin(), result.findings.end());
    a.figures.insert(a.figures.end(), result.figures.begin(), result.figures.end());
  }
  if (!reached) return std::nullopt;
  a.repetitions = *least;
  a.verdict = overall(a.findings).value_or(Verdict::not_run);
  return a;
}

// How bad among those that count; what says nothing is least.
int weight(const Attempt& a) {
  if (!a.set_aside.empty()) return -1;
  switch (a.verdict) {
    case Verdict::fail:
      return 3;
    case Verdict::inconclusive:
      return 2;
    case Verdict::pass:
      return 1;
    default:
      return 0;
  }
}

std::size_t deciding(const std::vector<Attempt>& attempts) {
  std::size_t best = 0;
  for (std::size_t i = 1; i < attempts.size(); ++i)
    if (weight(attempts[i]) >= weight(attempts[best])) best = i;
  return best;
}

std::string in_words(const WrittenRepeat& r) {
  return repeat_reason_name(r.reason) + (r.note.empty() ? "" : " (" + r.note + ")") + ", " + r.by + ", " + r.date;
}

class Builder {
 public:
  Builder(const std::vector<TriedRun>& runs, const SignOffFile& file, Problems& problems) : runs_{runs} {
    for (const auto& run : runs) {
      out_.runs.push_back({run.id, run.started, run.ending, ""});
      for (const auto& why : run.refused) out_.refused.push_back("Run " + run.id + " " + why);
    }
    repeats_.resize(runs.size());
    for (const auto& repeat : file.repeats) take(repeat, problems);
    for (std::size_t i = 1; i < runs.size(); ++i)
      if (repeats_[i] == nullptr)
        out_.cautions.push_back("Nobody said why run " + runs[i].id +
                                " was made again: earlier attempts count with it, and the worst stands.");
  }

  void add(const GridCells& grid, const std::vector<std::string>& faults) {
    auto layout = lay_out(grid, faults);
    for (std::size_t i = 0; i < layout.of_grid.size(); ++i)
      layout.matrix.cells[i] = cell_of(grid.cells[layout.of_grid[i]]);
    out_.matrices.push_back(std::move(layout.matrix));
  }

  SignOff done() {
    for (std::size_t i = 0; i < runs_.size(); ++i)
      if (repeats_[i] != nullptr && repeats_[i]->reason == RepeatReason::unit_repaired) warn_of_repair(i);
    return std::move(out_);
  }

 private:
  void take(const WrittenRepeat& repeat, Problems& problems) {
    std::vector<std::string> later;
    for (std::size_t i = 1; i < runs_.size(); ++i) later.push_back(runs_[i].id);
    const auto at = std::ranges::find(later, repeat.run.value);
    if (at == later.end())
      return problems.add(repeat.run.at, "found \"" + repeat.run.value + "\"",
                          later.empty() ? "no repeat: there is one run only" : "a run but the first: " + one_of(later),
                          did_you_mean(repeat.run.value, later));
    const auto i = static_cast<std::size_t>(at - later.begin()) + 1;
    if (repeats_[i] != nullptr)
      return problems.add(repeat.run.at, "the run \"" + repeat.run.value + "\" a second time", "each run once");
    repeats_[i] = &repeat;
    out_.runs[i].repeated_for = in_words(repeat);
  }

  Cell cell_of(const GridCell& of_grid) const {
    Cell cell;
    cell.left_out = of_grid.left_out;
    if (!cell.left_out.empty()) return cell;
    for (std::size_t i = 0; i < runs_.size(); ++i) {
      auto attempt = attempt_of(runs_[i], of_grid.criteria);
      if (!attempt) continue;
      const auto* repeat = repeats_[i];
      if (repeat != nullptr && repeat->reason != RepeatReason::planned && has_verdict(*attempt))
        for (auto& earlier : cell.attempts)
          if (earlier.set_aside.empty()) earlier.set_aside = "repeated for " + in_words(*repeat);
      cell.attempts.push_back(std::move(*attempt));
    }
    cell.decides = deciding(cell.attempts);
    if (cell.attempts.empty())
      cell.open = runs_.size() == 1 ? "not reached; the run ended: " + runs_.front().ending
                                    : "not reached in any of " + std::to_string(runs_.size()) + " runs";
    return cell;
  }

  void warn_of_repair(std::size_t repaired) {
    std::size_t before = 0;
    for (const auto& matrix : out_.matrices)
      for (const auto& cell : matrix.cells)
        if (!cell.attempts.empty())
          before += std::ranges::find(runs_, cell.attempts[cell.decides].run, &TriedRun::id) <
                    runs_.begin() + static_cast<std::ptrdiff_t>(repaired);
    if (before > 0)
      out_.cautions.push_back("The unit was repaired before run " + runs_[repaired].id + ", and " +
                              std::to_string(before) + " cells rest on attempts from before.");
  }

  const std::vector<TriedRun>& runs_;
  std::vector<const WrittenRepeat*> repeats_;  // by run; null where nobody said why
  SignOff out_;
};

}  // namespace

SignOff make_sign_off(const std::vector<GridCells>& grids, const std::vector<std::string>& faults,
                      const std::vector<TriedRun>& runs, const SignOffFile& file, const std::string& today,
                      Problems& problems) {
  Builder builder{runs, file, problems};
  for (const auto& grid : grids) builder.add(grid, faults);
  auto out = builder.done();
  apply_waivers(file.waivers, today, out, problems);
  return out;
}

}  // namespace trackrod
