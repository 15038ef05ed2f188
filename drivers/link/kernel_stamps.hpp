#pragma once

#include "harness/base/error.hpp"

namespace trackrod {

// Returns once the kernel stamps datagrams when they come. It begins to do so some milliseconds after the first socket
// on the machine asked for it; until then it stamps when they are *read*, and nothing in the stamp tells the
// difference. Call it with such a socket open. Blocks for up to a second. Error kind internal.
Result<void> wait_for_kernel_stamps();

}  // namespace trackrod
