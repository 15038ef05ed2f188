#pragma once
// The tables of the ledger by version, and the steps from each version to the next.

#include <span>
#include <string>
#include <vector>

#include "harness/ledger/connection.hpp"

namespace trackrod {

// The statements of one step, in SQL that every database knows. They are run in one transaction or not at all.
using Migration = std::vector<std::string>;

// Step i leads from version i to i + 1. A step that was ever released is never changed: what is to change is a new one.
std::span<const Migration> ledger_migrations();

// 0: no ledger was made here yet. Throws what SOCI throws.
int ledger_version(Connection& connection);

// Brings the tables to the version after the last step. Several programs may do so at once. Error kind refused when the
// ledger is of a newer version, else as error_of().
Result<void> bring_up(Connection& connection, std::span<const Migration> steps);

}  // namespace trackrod
