#pragma once
// An order: the words of one `trackrod run`, written into a file by the person who answers for it, for a service to
// obey. It is good once and soon, so that no restart, timer or start of the machine can move a bench.

#include <string>
#include <vector>

#include "harness/base/error.hpp"
#include "harness/base/time.hpp"

namespace trackrod {

// An order is obeyed within this time of its writing, or not at all.
inline constexpr std::chrono::minutes order_lasts{15};

// The words in `file`, one a line; empty lines and those that begin with # say nothing. The file is removed, on disk
// too, before this returns them; what it orders must be written anew to be done again. Error kinds bad_input (none
// there, too old, dated in the future, empty), storage (cannot be read or removed).
Result<std::vector<std::string>> take_order(const std::string& file, WallTime now);

}  // namespace trackrod
