#pragma once
// A grid of two faults at three speeds, and runs of it whose findings are made up. No check rests on the numbers.

#include "harness/signoff/sign_off.hpp"

namespace trackrod::test {

inline const std::vector<std::string> bench_faults{"wire_a_open", "wire_b_open", "wire_c_open"};

// The speed is the first axis, as in a plan that changes it seldom; criteria in the order of cells.
inline GridCells small_grid() {
  GridCells grid{"campaign", {{"point", {"slow", "town", "fast"}}, {"fault", {"wire_a_open", "wire_b_open"}}}, {}};
  for (std::size_t point = 0; point < 3; ++point)
    for (std::size_t fault = 0; fault < 2; ++fault) grid.cells.push_back({{point, fault}, "", {grid.cells.size()}});
  return grid;
}

inline Finding warning_time(Verdict verdict) {
  Finding f;
  f.name = "degraded.warning_time";
  f.unit = "ms";
  f.judged = true;
  f.limit = Limit{Limit::Kind::at_most, 0.0, 150.0};
  f.requirement = "REQ-1";
  f.rule = "guarded";
  f.verdict = verdict;
  f.coverage = 0.95;
  if (verdict == Verdict::not_run) {
    f.reason = "the fault did not take";
  } else {
    f.value = verdict == Verdict::fail ? 180.0 : verdict == Verdict::inconclusive ? 149.0 : 90.0;
    f.standard_uncertainty = 2.0;
    f.interval = {*f.value - 4.0, *f.value + 4.0};
  }
  return f;
}

// Verdicts of the six cells in the order of the grid; `reached`: how many of them the run came to.
inline TriedRun made_run(const std::string& id, const std::vector<Verdict>& verdicts, std::size_t reached = 6) {
  TriedRun run{id, "2026-11-25T10:00:00+01:00", reached < 6 ? "tripped (interlock)" : "finished", {}, {}};
  for (std::size_t i = 0; i < 6; ++i) {
    auto finding = warning_time(i < reached ? verdicts[i] : Verdict::not_run);
    run.results.push_back({{finding}, {}, i < reached ? std::size_t{1} : std::size_t{0}});
  }
  return run;
}
inline std::vector<Verdict> all_pass() { return std::vector<Verdict>(6, Verdict::pass); }
inline std::vector<Verdict> but(std::size_t cell, Verdict verdict) {
  auto verdicts = all_pass();
  verdicts[cell] = verdict;
  return verdicts;
}

struct Made {
  SignOff sign_off;
  Problems problems;
  const Matrix& matrix() const { return sign_off.matrices.at(0); }
  std::string said() const {
    std::string text;
    for (const auto& p : problems.sorted()) text += p.sentence() + "\n";
    return text;
  }
};

inline Made made(const std::vector<TriedRun>& runs, const std::string& file = "{}",
                 const std::string& today = "2026-12-01", const GridCells& grid = small_grid()) {
  Made out;
  const auto decided = parse_sign_off_file(file, "sign-off.json", out.problems);
  out.sign_off = make_sign_off({grid}, bench_faults, runs, decided, today, out.problems);
  return out;
}

}  // namespace trackrod::test
