#include "harness/cli/identities.hpp"

#include <algorithm>
#include <sstream>

#include "harness/base/problems.hpp"

namespace trackrod {
namespace {

std::string said(const Identities& identities, const std::string& device, const std::string& name) {
  for (const auto& [who, line] : identities)
    if (who == device && line.starts_with(name + ": ")) return line.substr(name.size() + 2);
  return "";
}

}  // namespace

Identities identities_of(const Bench& bench, const DeviceSet& devices) {
  Identities all;
  for (std::size_t i = 0; i < devices.devices.size(); ++i) {
    std::istringstream lines{devices.devices[i]->protocol().identity()};
    for (std::string line; std::getline(lines, line);) all.emplace_back(bench.devices[i].name, line);
  }
  return all;
}

std::vector<std::string> identity_refusals(const Bench& bench, const Plan& plan, const Identities& identities) {
  std::vector<std::string> refusals;
  for (const auto& rule : plan.identity) {
    const auto& device = bench.devices[rule.device].name;
    const auto found = said(identities, device, rule.name);
    if (rule.allows(found)) continue;
    auto allowed = "'" + rule.texts.front() + "'";
    for (std::size_t i = 1; i < rule.texts.size(); ++i) allowed += " or '" + rule.texts[i] + "'";
    const auto whose =
        bench.unit.device == rule.device ? "the unit (device '" + device + "')" : "device '" + device + "'";
    refusals.push_back(
        whose + (found.empty() ? " did not tell its " + rule.name : " tells as its " + rule.name + " '" + found + "'") +
        "; " + rule.asked_by + " allows " + allowed);
  }
  return refusals;
}

Result<void> note_identities(const Bench& bench, const Identities& identities, BenchTime when, JournalWriter& journal) {
  for (const auto& [device, line] : identities)
    if (auto noted = journal.note(
            {when, static_cast<std::uint32_t>(bench.find_device(device).value_or(0)), "says of itself: " + line});
        !noted)
      return noted;
  return {};
}

}  // namespace trackrod
