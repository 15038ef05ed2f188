#pragma once
// What `trackrod history` lists: runs, or one finding run by run; as a table, as CSV and as JSON. Pure.

#include <string>
#include <vector>

#include "harness/ledger/ledger.hpp"
#include "harness/report/table.hpp"

namespace trackrod {

// How the findings of a run came out.
Tally tally_of(const std::vector<VerdictCount>& counts);

// Columns that say the same of each run, or nothing, are left out where a reader does not miss them.
std::string runs_table(const std::vector<HistoryRun>& runs);
std::string runs_csv(const std::vector<HistoryRun>& runs);
std::string runs_json(const std::vector<HistoryRun>& runs);

std::string trend_table(const std::vector<HistoryFinding>& findings);
// Numbers with all their digits: read back they are the same.
std::string trend_csv(const std::vector<HistoryFinding>& findings);
std::string trend_json(const std::vector<HistoryFinding>& findings);

// "2026-11-25 14:03" of ISO 8601 text.
std::string shown_minute(const std::string& iso);

}  // namespace trackrod
