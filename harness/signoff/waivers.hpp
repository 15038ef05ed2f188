#pragma once
// Waivers onto a matrix.

#include <string>
#include <vector>

#include "harness/report/matrix.hpp"
#include "harness/signoff/sign_off_file.hpp"

namespace trackrod {

// Puts those in force on `today` (ISO 8601 day) into their cells, and lists all with what became of them. Problems: no
// such row or column, a cell that the plan leaves out, a second waiver in force for one cell.
void apply_waivers(const std::vector<Located<WrittenWaiver>>& waivers, const std::string& today, SignOff& sign_off,
                   Problems& problems);

}  // namespace trackrod
