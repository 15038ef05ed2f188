#pragma once
// The table of the plan file itself.

#include <string>
#include <utility>
#include <vector>

#include "harness/plan/plan.hpp"

namespace trackrod {

// The plan as written, before names are looked up in the bench.
struct WrittenPlan {
  Name name;
  std::string description;
  Node variables, grids;
  std::vector<std::pair<Name, Located<ControlMode>>> control;
  std::vector<std::pair<Name, Located<Quantity>>> start;
  std::vector<std::pair<Name, WrittenIdentity>> needs;  // by device
  std::vector<Name> expected_faults;
  Duration settle{};
  std::vector<PlanStep> steps;
  std::vector<Node> criteria;
};
const Fields<WrittenPlan>& plan_fields();

}  // namespace trackrod
