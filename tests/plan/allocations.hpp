#pragma once
#include <cstddef>

namespace trackrod::test {

// Calls of operator new by this program so far.
std::size_t allocations();

}  // namespace trackrod::test
