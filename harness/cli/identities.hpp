#pragma once
// What the devices said of themselves, and what that means for a run.

#include <string>
#include <utility>
#include <vector>

#include "drivers/device/device_set.hpp"
#include "harness/capture/writer.hpp"
#include "harness/plan/plan.hpp"

namespace trackrod {

// Device, and a line of what it said of itself: "serial: 0042".
using Identities = std::vector<std::pair<std::string, std::string>>;
Identities identities_of(const Bench& bench, const DeviceSet& devices);

// One sentence for each of the plan's rules that was not kept: which device, what was found, what is allowed. Pure.
std::vector<std::string> identity_refusals(const Bench& bench, const Plan& plan, const Identities& identities);

// The lines as notes of the journal, at `when`. Error kind storage.
Result<void> note_identities(const Bench& bench, const Identities& identities, BenchTime when, JournalWriter& journal);

}  // namespace trackrod
