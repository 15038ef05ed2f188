#pragma once
// What the devices said of themselves in a run, in words, and what that means for the run.

#include <string>
#include <utility>
#include <vector>

#include "harness/capture/writer.hpp"
#include "harness/engine/account.hpp"
#include "harness/plan/plan.hpp"

namespace trackrod {

// Device, and a line of what it said: "serial: 0042", or an entry of its fault memory.
using DeviceLines = std::vector<std::pair<std::string, std::string>>;
DeviceLines identity_lines(const Bench& bench, const Accounts& accounts);
// "5A0164 (C1A01-64): test failed, confirmed"; "empty" of a memory without entries.
DeviceLines fault_lines(const Bench& bench, const Accounts& accounts);

// Both, as notes of the journal. Error kind storage.
Result<void> note_accounts(const Bench& bench, const Accounts& accounts, BenchTime when, JournalWriter& journal);
// Those that an event of kind `inspected` tells of.
Result<void> note_inspected(const Event& event, const Bench& bench, std::span<const AccountRoom> rooms,
                            JournalWriter& journal);

// One sentence for each of the plan's rules that was not kept: which device, what was found, what is allowed. Pure.
std::vector<std::string> identity_refusals(const Bench& bench, const Plan& plan, const Accounts& accounts);

// Why a run says nothing of the unit: a fault that is confirmed and active before the steps and that the plan does not
// expect; a device that is another one after the steps than before. Empty: nothing speaks against it. Pure.
std::vector<std::string> invalid_by(const Bench& bench, const Plan& plan, const std::optional<Accounts>& before,
                                    const std::optional<Accounts>& after);

}  // namespace trackrod
