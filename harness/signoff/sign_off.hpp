#pragma once
// From a plan's grids, what runs of it came to, and what people decided, to the sign-off matrix. Pure.

#include <string>
#include <vector>

#include "harness/plan/grid_cells.hpp"
#include "harness/report/matrix.hpp"
#include "harness/signoff/sign_off_file.hpp"

namespace trackrod {

// What one criterion of the plan came to in one run.
struct CriterionResult {
  std::vector<Finding> findings;
  std::vector<Figure> figures;
  std::size_t repetitions{0};  // how often each of its steps was run whole; 0: not reached
};

// One run of the plan.
struct TriedRun {
  std::string id, started, ending;
  std::vector<std::string> refused;      // why it may not be signed
  std::vector<CriterionResult> results;  // by criterion of the plan
};

// `faults`: names of the bench's faults, by which the rows are known: the axes that hold some, else the first axis; the
// others are the columns. `runs`: of one plan, in the order of time, at least one. `today`: ISO 8601 day, by which
// waivers expire. Problems: names of the file that are none of the matrix.
//
// All attempts stay, numbered. Of those that count the worst stands, the last of equal ones; what tried in vain counts
// only where nothing else does. A repeat sets earlier attempts aside in the cells for which it has a verdict, unless it
// was planned.
SignOff make_sign_off(const std::vector<GridCells>& grids, const std::vector<std::string>& faults,
                      const std::vector<TriedRun>& runs, const SignOffFile& file, const std::string& today,
                      Problems& problems);

}  // namespace trackrod
