// What limits each hazard of the bench when every program fails, and what the bench may do only where all are limited.

#include <algorithm>

#include "harness/bench/draft.hpp"

namespace trackrod {
namespace {

std::vector<HardLimit> limits_in(const written::Hazards& w) {
  std::vector<HardLimit> limits;
  const std::optional<written::HardLimit>* const given[] = {&w.over_torque, &w.over_travel, &w.over_current,
                                                            &w.over_temperature, &w.stored_energy};
  for (std::size_t i = 0; i < std::size(given); ++i)
    if (*given[i]) limits.push_back({hazard_names()[i], (*given[i])->by, (*given[i])->checked});
  return limits;
}

std::string missing(const Bench& bench) {
  std::string names;
  for (const auto& hazard : hazard_names())
    if (std::ranges::none_of(bench.hard_limits, [&](const HardLimit& limit) { return limit.hazard == hazard; }))
      names += (names.empty() ? "'" : ", '") + hazard + "'";
  return names;
}

}  // namespace

const std::vector<std::string>& hazard_names() {
  static const std::vector<std::string> names{"over_torque", "over_travel", "over_current", "over_temperature",
                                              "stored_energy"};
  return names;
}

void resolve_hazards(const written::Bench& file, Draft& draft) {
  draft.bench.hard_limits = limits_in(file.hazards.value);
  draft.bench.unattended = file.unattended.value;
  const bool known = file.hazards.good || file.hazards.at.line == 0;  // else it was refused, and told
  const auto names = known ? missing(draft.bench) : std::string{};
  if (names.empty()) return;
  const auto refuse = [&](const Where& at, const std::string& what) {
    draft.problems.add(at, what + ", but nothing hard-wired limits " + names, "a line for each in 'hazards'",
                       "no program, no unit and no controlling sensor can be what limits it");
  };
  if (file.unattended.value) refuse(file.unattended.at, "the bench may run unattended");
  for (const auto& [name, part] : file.faults)
    if (part.good && part.value.energetic.value) refuse(part.value.energetic.at, "'" + name.value + "' is energetic");
}

}  // namespace trackrod
