#pragma once
// The table of ways in which a fault is made: a new one is an entry there.

#include <optional>
#include <vector>

#include "harness/base/fields.hpp"
#include "harness/bench/fault.hpp"

namespace trackrod {

struct Draft;

// As the key "kind" of a fault's "make" tells.
std::vector<KindEntry> fault_kinds();
// Empty after telling what is wrong.
std::optional<SignalFault> resolve_fault(const Chosen& make, Draft& draft);

}  // namespace trackrod
