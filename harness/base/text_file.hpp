#pragma once
// Reading files that fit into memory.

#include <string>

#include "harness/base/error.hpp"

namespace trackrod {

// All bytes of the file, as they are. Blocks. Error kind bad_input when there is no such file or it is a folder,
// storage when the system would not give it; the sentence names the path.
Result<std::string> read_text(const std::string& path);

}  // namespace trackrod
