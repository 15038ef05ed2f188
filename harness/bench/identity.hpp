#pragma once
// What a device must say of itself, as bench and plan files write it.

#include <string>
#include <string_view>
#include <utility>
#include <vector>

#include "harness/bench/bench.hpp"

namespace trackrod {

// By name, the texts that are allowed: {"serial": "0042", "software": ["2.4.1", "2.4.2"]}.
using WrittenIdentity = std::vector<std::pair<Name, Located<std::vector<std::string>>>>;
Shape<WrittenIdentity> written_identity();

// Held against what a device of that protocol can say. `whose` in words: "device 'supply'".
std::vector<IdentityText> read_identity(const WrittenIdentity& written, const std::string& whose,
                                        const Chosen& protocol, const Catalogue& catalogue, Problems& problems);

// A text that a device must say before anything moves.
struct IdentityRule {
  std::size_t device{0};  // index into Bench::devices
  std::string name;
  std::vector<std::string> texts;  // one of them
  std::string asked_by;            // "the bench file"
  bool allows(std::string_view said) const noexcept;
};
// What the bench file itself asks of its devices and of the unit.
std::vector<IdentityRule> identity_rules(const Bench& bench);

}  // namespace trackrod
