#pragma once
// The "criteria" of a plan: which score reads which steps and signals, and the limits of what it finds.

#include <optional>
#include <string>
#include <vector>

#include "harness/base/catalogue.hpp"
#include "harness/plan/plan.hpp"

namespace trackrod {

// A criterion as written. The score's own keys are in `score`.
struct WrittenLimit {
  Name finding;
  std::optional<Located<Quantity>> at_most, at_least;
  Located<std::vector<Located<Quantity>>> within;
  DecisionRule rule{DecisionRule::guarded};
  std::string requirement;
  Located<bool> stops;
};
struct CriterionKeys {
  Name grid;  // empty by the time a criterion is read: it was worked out
  Located<std::vector<Name>> steps;
  Located<std::vector<std::pair<Name, Name>>> signals;
  std::vector<Name> conditions;
  std::vector<Located<WrittenLimit>> limits;
};
// Keys of every criterion, whatever its score.
const Fields<CriterionKeys>& criterion_fields();
std::vector<KindEntry> score_kinds(const Catalogue& catalogue);

// What a criterion can refer to.
struct CriterionScope {
  const Bench& bench;
  const Catalogue& catalogue;
  const std::vector<std::string>& steps;    // names that have a time span
  const std::vector<std::string>& repeats;  // names of repeats, which have none of their own
  bool of_recording{false};                 // `bench` holds what was recorded elsewhere; a signal may be absent
};
// Tells what is wrong; the result is of use only when nothing is.
Criterion read_criterion(const Node& n, const CriterionScope& scope, Problems& problems);

}  // namespace trackrod
