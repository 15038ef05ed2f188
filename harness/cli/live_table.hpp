#pragma once
// What a look at the bench found, in words for people and as JSON for programs. Pure.

#include <string>

#include "drivers/device/live_look.hpp"
#include "harness/cli/console.hpp"

namespace trackrod {

std::string live_table(const Bench& bench, const BenchLook& look, const std::string& today);
std::string live_json(const Bench& bench, const BenchLook& look, const std::string& today);

// "until 2027-11-02 (certificate 0113)", "LAPSED on 2024-11-02", "none". `today`: ISO 8601.
std::string calibration_words(const Calibration& calibration, const std::string& today);

// harness_failed when a device is not there that should be, a_fail when a value is outside its signal's range, else
// all_pass.
ExitStatus live_status(const Bench& bench, const BenchLook& look);

}  // namespace trackrod
