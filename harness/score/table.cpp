#include <algorithm>

#include "harness/score/scores.hpp"
#include "harness/score/scoring.hpp"

namespace trackrod {

const std::vector<ScoreKind>& score_table() {
  static const std::vector<ScoreKind> table{
      step_score(),      delay_score(),  hysteresis_score(), bus_score(),      polarity_score(), ratio_score(),
      frequency_score(), play_score(),   skew_score(),       end_stop_score(), run_on_score(),   following_score(),
      feedback_score(),  supply_score(), degraded_score(),   drift_score(),
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

namespace {

const ScoreKind* find_score(const std::string& name) {
  const auto& table = score_table();
  const auto at = std::ranges::find_if(table, [&](const ScoreKind& k) { return k.entry.settings.name == name; });
  return at == table.end() ? nullptr : &*at;
}

}  // namespace

bool is_by_cycle(const std::string& score) {
  const auto* kind = find_score(score);
  return kind != nullptr && kind->entry.by_cycle;
}

CycleValue score_cycle(const std::string& name, const ScoreInput& input, std::uint32_t cycle) {
  return find_score(name)->of_cycle(input, cycle);
}

Result<ScoreResult> run_score(const std::string& name, const ScoreInput& input) {
  const auto* kind = find_score(name);
  if (kind == nullptr) {
    std::vector<std::string> names;
    for (const auto& k : score_table()) names.push_back(k.entry.settings.name);
    return fail(Fault::bad_input,
                "found score '" + name + "'; allowed: " + one_of(names) + "; " + did_you_mean(name, names));
  }
  for (const auto& role : kind->entry.roles)
    if (role.need == ScoreRole::Need::always && input.signal(role.name) >= input.capture.signals().size())
      return fail(Fault::bad_input, "score '" + name + "': the role '" + role.name +
                                        "' has no signal of this capture; name one under \"signals\" (" + role.doc +
                                        ")");
  return kind->run(input);
}

std::string finding_unit(const std::string& kind_unit, const std::string& input_unit, const std::string& output_unit) {
  return unit_with_roles(kind_unit, {{"output", output_unit}, {"input", input_unit}});
}

}  // namespace trackrod
