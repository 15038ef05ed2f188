#include "harness/cli/inspection.hpp"

#include <algorithm>

#include "drivers/protocol/uds_messages.hpp"
#include "harness/base/problems.hpp"

namespace trackrod {
namespace {

constexpr unsigned active_and_confirmed = 0x09;  // ISO 14229-1, annex D.2: bits 0 and 3

std::string said(const DeviceAccount& account, const std::string& name) {
  for (const auto& [what, text] : account.identity)
    if (what == name) return text;
  return "";
}

std::string entry_words(const FaultEntry& entry) {
  return uds_code_text(entry.code) + ": " + uds_status_words(entry.status);
}

std::string whose(const Bench& bench, std::size_t device) {
  const auto name = "device '" + bench.devices[device].name + "'";
  return bench.unit.device == device ? "the unit (" + name + ")" : name;
}

}  // namespace

DeviceLines identity_lines(const Bench& bench, const Accounts& accounts) {
  DeviceLines lines;
  for (std::size_t d = 0; d < accounts.size(); ++d)
    for (const auto& [name, text] : accounts[d].identity) lines.emplace_back(bench.devices[d].name, name + ": " + text);
  return lines;
}

DeviceLines fault_lines(const Bench& bench, const Accounts& accounts) {
  DeviceLines lines;
  for (std::size_t d = 0; d < accounts.size(); ++d) {
    const auto& faults = accounts[d].faults;
    if (!faults) continue;
    for (const auto& entry : *faults) lines.emplace_back(bench.devices[d].name, entry_words(entry));
    if (faults->empty()) lines.emplace_back(bench.devices[d].name, "empty");
  }
  return lines;
}

Result<void> note_accounts(const Bench& bench, const Accounts& accounts, BenchTime when, JournalWriter& journal) {
  const auto note = [&](const DeviceLines& lines, const std::string& what) -> Result<void> {
    for (const auto& [device, line] : lines)
      if (auto noted =
              journal.note({when, static_cast<std::uint32_t>(bench.find_device(device).value_or(0)), what + line});
          !noted)
        return noted;
    return {};
  };
  auto noted = note(identity_lines(bench, accounts), "says of itself: ");
  return noted ? note(fault_lines(bench, accounts), "fault memory: ") : noted;
}

Result<void> note_inspected(const Event& event, const Bench& bench, std::span<const AccountRoom> rooms,
                            JournalWriter& journal) {
  if (event.a >= rooms.size()) return {};
  const auto accounts = read_accounts(rooms[event.a], bench.devices.size());
  return accounts ? note_accounts(bench, *accounts, event.when, journal) : Result<void>{};
}

std::vector<std::string> identity_refusals(const Bench& bench, const Plan& plan, const Accounts& accounts) {
  std::vector<std::string> refusals;
  for (const auto& rule : plan.identity) {
    const auto found = said(accounts[rule.device], rule.name);
    if (rule.allows(found)) continue;
    auto allowed = "'" + rule.texts.front() + "'";
    for (std::size_t i = 1; i < rule.texts.size(); ++i) allowed += " or '" + rule.texts[i] + "'";
    refusals.push_back(
        whose(bench, rule.device) +
        (found.empty() ? " did not tell its " + rule.name : " tells as its " + rule.name + " '" + found + "'") + "; " +
        rule.asked_by + " allows " + allowed);
  }
  return refusals;
}

std::vector<std::string> invalid_by(const Bench& bench, const Plan& plan, const std::optional<Accounts>& before,
                                    const std::optional<Accounts>& after) {
  std::vector<std::string> reasons;
  if (!before) return reasons;
  for (std::size_t d = 0; d < before->size(); ++d) {
    const auto& expected = plan.expected_faults;
    for (const auto& fault : (*before)[d].faults.value_or(std::vector<FaultEntry>{})) {
      const bool is_active = (fault.status & active_and_confirmed) == active_and_confirmed;
      if (is_active && std::find(expected.begin(), expected.end(), fault.code) == expected.end())
        reasons.push_back(whose(bench, d) +
                          " began with an active fault that the plan does not expect: " + entry_words(fault));
    }
    if (!after) continue;
    for (const auto& [name, text] : (*before)[d].identity)
      if (const auto later = said((*after)[d], name); !later.empty() && later != text)
        reasons.push_back(whose(bench, d) + " is another one at the end than it was: its " + name + " was '" + text +
                          "' and is '" + later + "'");
  }
  return reasons;
}

}  // namespace trackrod
