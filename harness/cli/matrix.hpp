#pragma once
// The sign-off matrix of scored runs: from their folders' plan and findings, and into files beside the report.

#include <optional>
#include <string>
#include <vector>

#include "harness/cli/evaluate.hpp"
#include "harness/cli/load.hpp"
#include "harness/cli/run_folder.hpp"
#include "harness/signoff/sign_off.hpp"

namespace trackrod {

// The grids whose criteria have limits: there is something to sign.
std::vector<GridCells> judged_grids(const Loaded& loaded);
// What of the evaluation belongs to no cell of these.
Evaluation beside(const Evaluation& evaluation, const std::vector<GridCells>& grids);
TriedRun tried_run(const RunRecord& record, const Evaluation& evaluation);
std::vector<std::string> fault_names(const Loaded& loaded);
// Of one run alone, with nothing decided by people.
SignOff sign_off_of(const RunRecord& record, const Loaded& loaded, const Evaluation& evaluation);

// matrix.csv and matrix.xml in the folder; nothing without a matrix. Error kind storage.
Result<void> write_matrix_files(const RunFolder& folder, const SignOff& sign_off);
// What the matrices cover, what does not pass, and what to bear in mind, for people.
void tell(const SignOff& sign_off, const Console& console);

}  // namespace trackrod
