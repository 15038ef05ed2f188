#pragma once
// The settings of the score `degraded`, as a plan gives them. docs/scores/degraded.md.

#include <optional>
#include <vector>

#include "harness/base/fields.hpp"
#include "harness/base/time.hpp"

namespace trackrod {

struct DegradedSettings {
  std::vector<double> healthy;  // of the input: within, there is no fault
  Duration bounce{from_seconds(0.05)};
  std::vector<double> safe;  // of the output; or
  double tolerance{0.0};     // of its departure from the reference
  Duration hold{from_seconds(0.1)}, settle{from_seconds(0.5)};
  std::vector<double> right, none;  // values of the warning
  std::vector<double> detected;     // bounds of the detection flag
  Duration fault_tolerant_time{};   // 0: not given
  std::optional<std::int64_t> inserted;
  double share{95.0}, confidence{95.0};  // %
};

const Fields<DegradedSettings>& degraded_fields();

}  // namespace trackrod
