#pragma once
// The ledger of a folder of runs: entering runs, and making it again.

#include "harness/cli/console.hpp"
#include "harness/cli/run_folder.hpp"
#include "harness/ledger/ledger.hpp"

namespace trackrod {

// The environment variable that names a ledger other than the file in the folder of the runs.
inline constexpr char ledger_variable[] = "TRACKROD_LEDGER";

// The ledger of the runs in a folder: by `connection`, where that is empty by the environment variable, where that is
// not set either the file ledger.db in the folder. Error kind bad_input.
struct RunLedger {
  LedgerAt at;
  std::string runs;   // the folder
  std::string place;  // of its runs in the ledger

  static Result<RunLedger> of(const std::string& runs, const std::string& connection);
};

// Whether a ledger is made where none is: where run folders are made, but not beside a folder that lies anywhere.
enum class WithoutLedger { make_one, let_be };

// Enters a run that ended, or was scored or reported anew. What fails is told in a sentence and spoils nothing: the
// folder has it all. Blocks for up to half a minute when others write.
void enter_run(const RunFolder& folder, WithoutLedger without, const Console& console);

// Makes the ledger anew from the run folders; a damaged file is set aside. All or nothing. The number of runs entered.
// Folders that do not read are told and left out. Error kinds bad_input, refused, timed_out, storage.
Result<std::size_t> rebuild_ledger(const RunLedger& which, Console& console);

// Run folders that are not in the ledger, and entries whose folder is gone: names.
struct LedgerGaps {
  std::vector<std::string> not_entered, gone;
};
Result<LedgerGaps> ledger_gaps(Ledger& ledger, const RunLedger& which);

}  // namespace trackrod
