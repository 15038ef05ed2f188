#pragma once
// A finding as the scores give it, and as the ledger keeps it: all but its budget.

#include "harness/ledger/entry.hpp"
#include "harness/score/score.hpp"

namespace trackrod {

LedgerFinding to_ledger(const Finding& finding);
Finding from_ledger(const LedgerFinding& kept);

}  // namespace trackrod
