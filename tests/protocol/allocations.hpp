#pragma once
#include <cstdint>

namespace trackrod::testing {

// How often this program has called operator new.
std::uint64_t allocations();

}  // namespace trackrod::testing
