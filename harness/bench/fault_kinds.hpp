#pragma once
// The ways in which a fault is made. Two families, a table each: of values (value_faults.cpp) and of messages
// (message_faults.cpp). A new one is an entry there.

#include <optional>
#include <vector>

#include "harness/base/fields.hpp"
#include "harness/bench/fault.hpp"

namespace trackrod {

struct Bench;
struct Draft;

// As the key "kind" of a fault's "make" tells.
std::vector<KindEntry> fault_kinds();
// Empty after telling what is wrong.
std::optional<FaultWay> resolve_fault(const Chosen& make, Draft& draft);

// A family: its kinds, and what one of them becomes; empty also for a kind of another family.
std::vector<KindEntry> value_fault_kinds();
std::optional<SignalFault> resolve_value_fault(const Chosen& make, Draft& draft);
std::vector<KindEntry> message_fault_kinds();
std::optional<MessageFault> resolve_message_fault(const Chosen& make, Draft& draft);

// Whether an axis of the bench moves by that signal.
bool moves_an_axis(SignalIndex signal, const Bench& bench);

}  // namespace trackrod
