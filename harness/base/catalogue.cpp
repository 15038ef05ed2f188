#include "harness/base/catalogue.hpp"

namespace trackrod {

std::string unit_with_roles(std::string unit, const std::vector<std::pair<std::string, std::string>>& role_units) {
  for (const auto& [role, signal_unit] : role_units) {
    const auto at = unit.find(role);
    if (at == std::string::npos) continue;
    if (unit == role) return signal_unit;
    unit.replace(at, role.size(), "(" + signal_unit + ")");
  }
  return unit;
}

}  // namespace trackrod
