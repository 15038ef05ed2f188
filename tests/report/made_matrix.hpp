#pragma once
// An invented matrix with a cell of every kind, for looking at pages and files. No check rests on its numbers.

#include "harness/report/matrix.hpp"
#include "tests/report/example.hpp"

namespace trackrod::example {

inline Attempt attempt(const std::string& run, Verdict verdict, double value = 90.0) {
  Attempt a;
  a.run = run;
  a.verdict = verdict;
  a.repetitions = 1;
  auto time = judged(finding("degraded.warning_time", value, 7.0, "ms"), {Limit::Kind::at_most, 0.0, 150.0}, verdict,
                     "REQ-103");
  auto angle = judged(finding("degraded.departure", 5.7, 0.02, "deg"), {Limit::Kind::at_most, 0.0, 6.0}, Verdict::pass,
                      "REQ-102");
  if (verdict == Verdict::inconclusive) time.reason = "the interval lies across the limit";
  if (verdict == Verdict::not_run) {
    for (auto* f : {&time, &angle}) {
      f->verdict = Verdict::not_run;
      f->reason = "the fault did not take";
      f->value.reset();
      f->interval.reset();
      f->standard_uncertainty.reset();
    }
  }
  a.findings = {time, angle, finding("degraded.gain_left", 94.0, 0.1, "%")};
  a.figures = {step_figure()};
  return a;
}

inline Cell tried(Verdict verdict, double value = 90.0) {
  Cell cell;
  cell.attempts = {attempt("run-1", verdict, value)};
  return cell;
}

// Rows: pass, fail | waived, open | left out, fail of three attempts | inconclusive, not run.
inline SignOff sign_off() {
  SignOff s;
  Matrix m{"campaign", "fault", "point", {"a_open", "b, \"short\"", "c_stuck", "d_late"}, {"slow", "fast"}, {}};
  auto waived = tried(Verdict::fail, 180.0);
  waived.waiver = Waiver{"changed in the next sample", "N. N.", "2026-11-20", "2027-01-31"};
  Cell open, out, thrice;
  open.open = "not reached; the run ended: tripped";
  out.left_out = "never at this speed";
  thrice.attempts = {attempt("run-1", Verdict::fail, 180.0), attempt("run-2", Verdict::fail, 170.0),
                     attempt("run-3", Verdict::pass)};
  thrice.attempts[0].set_aside = "repeated for bench fault, N. N., 2026-11-21";
  thrice.decides = 1;
  m.cells = {tried(Verdict::pass),
             tried(Verdict::fail, 180.0),
             waived,
             open,
             out,
             thrice,
             tried(Verdict::inconclusive, 149.0),
             tried(Verdict::not_run)};
  s.matrices = {m};
  s.runs = {{"run-1", "2026-11-20T10:00:00Z", "finished", ""},
            {"run-2", "2026-11-21T10:00:00Z", "finished", "bench fault, N. N., 2026-11-21"},
            {"run-3", "2026-11-22T10:00:00Z", "finished", ""}};
  s.waivers = {{"b, \"short\" at slow", *waived.waiver, "in force: slow: fail"}};
  s.refused = {"Run run-1 is a rehearsal: bench and unit were simulated."};
  return s;
}

}  // namespace trackrod::example
