#pragma once
// A night for the demo bench.

#include "tests/system/demo_rig.hpp"

namespace trackrod::performance {

// The motions of the acceptance plan again and again, with these criteria.
inline std::string night_plan(double hours, const nlohmann::json& criteria) {
  using namespace trackrod::test;
  auto plan = nlohmann::json::parse(slurp(DemoRig::source("plans/acceptance.json")), nullptr, true, true);
  constexpr double plan_seconds = 305.0;
  const int times = static_cast<int>(hours * 3600.0 / plan_seconds) + 1;
  plan.erase("$schema");
  plan.erase("criteria");
  if (!criteria.empty()) plan["criteria"] = criteria;
  plan["plan"] = "night";
  const auto steps = plan.at("steps");
  plan["steps"] =
      nlohmann::json::array({{{"do", "repeat"}, {"name", "all_night"}, {"times", times}, {"steps", steps}}});
  return plan.dump();
}

}  // namespace trackrod::performance
