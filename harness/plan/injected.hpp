#pragma once
// Which faults of the bench a plan makes, for people.

#include <string>
#include <vector>

#include "harness/plan/timeline.hpp"

namespace trackrod {

// Their names, each once, in the order of the bench's catalogue.
std::vector<std::string> injected_faults(const Timeline& timeline, const Bench& bench);

}  // namespace trackrod
