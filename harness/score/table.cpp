#include <algorithm>

#include "harness/score/scores.hpp"
#include "harness/score/scoring.hpp"

namespace trackrod {

const std::vector<ScoreKind>& score_table() {
  static const std::vector<ScoreKind> table{
      step_score(),
      delay_score(),
      hysteresis_score(),
      bus_score(),
      polarity_score(),
      ratio_score(),
      frequency_score(),
      play_score(),
      skew_score(),
      end_stop_score(),
      run_on_score(),
      following_score(),
      feedback_score(),
      supply_score(),
      degraded_score(),
      drift_score(),
  };
  return table;
}

std::vector<ScoreEntry> score_entries() {
  std::vector<ScoreEntry> entries;
  for (const auto& kind : score_table()) entries.push_back(kind.entry);
  return entries;
}

SignalIndex ScoreInput::signal(const std::string& role) const {
  for (const auto& [name, index] : signals)
    if (name == role) return index;
  return no_signal;
}

Result<ScoreResult> run_score(const std::string& name, const ScoreInput& input) {
  std::vector<std::string> names;
  for (const auto& kind : score_table()) names.push_back(kind.entry.settings.name);
  const auto at = std::find(names.begin(), names.end(), name);
  if (at == names.end())
    return fail(Fault::bad_input,
                "found score '" + name + "'; allowed: " + one_of(names) + "; " + did_you_mean(name, names));
  const auto& kind = score_table()[static_cast<std::size_t>(at - names.begin())];
  for (const auto& role : kind.entry.roles)
    if (role.need == ScoreRole::Need::always && input.signal(role.name) >= input.capture.signals().size())
      return fail(Fault::bad_input, "score '" + name + "': the role '" + role.name +
                                        "' has no signal of this capture; name one under \"signals\" (" + role.doc +
                                        ")");
  return kind.run(input);
}

std::string finding_unit(const std::string& kind_unit, const std::string& input_unit, const std::string& output_unit) {
  return unit_with_roles(kind_unit, {{"output", output_unit}, {"input", input_unit}});
}

}  // namespace trackrod
