#pragma once
// How findings are made: always with a budget, or empty with a reason.

#include <string>
#include <utility>
#include <vector>

#include "harness/score/budget.hpp"
#include "harness/score/score.hpp"

namespace trackrod {

// What the findings of one score over one set of spans have in common.
struct Frame {
  std::string score;
  std::string step;
  std::vector<std::string> signals;
  std::vector<std::pair<std::string, std::string>> conditions;

  Finding measured(const std::string& name, const std::string& unit, double value,
                   std::vector<Contribution> budget) const;
  // A count or a statistic that is what it is.
  Finding exact(const std::string& name, const std::string& unit, double value) const;
  // `tried`: there was something to score, in vain; otherwise the verdict is "not run".
  Finding missing(const std::string& name, const std::string& unit, const std::string& reason, bool tried = true) const;
};

// Frame of a score over an input and an output; says whether both are measured by the bench ("end to end") or one by
// the unit itself ("internal").
Frame pair_frame(const ScoreInput& input, const std::string& score, const std::string& step);

// Spans of one step, in order, with its name; steps in order of their first span.
std::vector<std::pair<std::string, std::vector<Span>>> by_step(const std::vector<Span>& spans);
// Spans that follow each other at once as one, in order, whatever their steps: what begins in one step and ends in the
// next, such as a drop-out or a fault, is read as a whole.
std::vector<Span> joined(std::vector<Span> spans, Duration tick);
// Their names, for a score that reads all steps together: "down, up".
std::string step_names(const std::vector<Span>& spans);

// Of the stamps of both signals, by what they say of themselves (half-widths, s): in ms.
std::vector<Contribution> stamps_budget(double input_half_width, double output_half_width);

// What shifts a time difference output - input as a whole, in ms: delay of both sensors, their stamps, and uneven paths
// to their clocks. What two signals of one clock have in common cancels and is left out.
std::vector<Contribution> time_shift_budget(const SignalInfo& input, const SignalInfo& output, double input_half_width,
                                            double output_half_width);

// The shortest delay that a run with this timing may claim: half a tick, or the lateness that 99 of 100 ticks keep to
// when that is more.
Duration timing_resolution(const TimingQuality& timing);

// Empties a delay (ms) that is too short to be told from none.
void refuse_below_resolution(Finding& delay, const TimingQuality& timing, double sample_interval);

// Budget of a value that is a difference between two readings of one sensor, `change` apart. The part of the
// calibration that scales with a reading counts by the change; when that part is not known apart, the whole counts for
// both readings.
std::vector<Contribution> calibration_budget(const SignalInfo& info, double change, double sensitivity = 1.0);

// "3 of 12".
std::string some_of(std::size_t some, std::size_t all);

std::string with_unit(double value, const std::string& unit, int digits = 3);

}  // namespace trackrod
