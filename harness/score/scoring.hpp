#pragma once
// The scores by name, for those who read plans and those who score runs.

#include <string>
#include <vector>

#include "harness/base/error.hpp"
#include "harness/score/score.hpp"

namespace trackrod {

// What plans may ask for: the settings, roles and findings of every score.
std::vector<ScoreEntry> score_entries();

// Runs the score on the input. Error kind bad_input: no such score, or a role without a signal. A capture that holds
// nothing to score is no error: the findings say so, each with its reason.
Result<ScoreResult> run_score(const std::string& name, const ScoreInput& input);

// Whether the score takes its spans cycle by cycle.
bool is_by_cycle(const std::string& score);
// What such a score has of one cycle, all of whose spans the input holds. Pure.
CycleValue score_cycle(const std::string& name, const ScoreInput& input, std::uint32_t cycle);

// The unit of a finding, with the words "input" and "output" replaced by the units of the signals in these roles:
// "output/input" -> "(deg)/(mm)".
std::string finding_unit(const std::string& kind_unit, const std::string& input_unit, const std::string& output_unit);

}  // namespace trackrod
