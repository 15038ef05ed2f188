#include "harness/base/catalogue.hpp"

namespace trackrod {

std::string unit_with_roles(std::string unit, const std::vector<std::pair<std::string, std::string>>& role_units) {
  for (const auto& [role, signal_unit] : role_units) {
    const auto at = unit.find(role);
    if (at == std::string::npos) continue;
    if (unit == role) return signal_unit;
    unit.replace(at, role.size(), "(" + signal_unit + ")");
  }
  // A ratio of two quantities in one unit is a plain number.
  const auto slash = unit.find(")/(");
  if (slash != std::string::npos && unit.substr(0, slash + 1) == unit.substr(slash + 2)) return "1";
  return unit;
}

}  // namespace trackrod
