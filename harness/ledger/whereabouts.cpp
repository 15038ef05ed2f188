#include "harness/ledger/whereabouts.hpp"

namespace trackrod {
namespace {

constexpr char allowed[] =
    "allowed: \"postgresql://host=HOST dbname=NAME\", \"postgresql://USER@HOST/NAME\" or \"sqlite3://db=FILE\"";

// "user@host/name", not "host=... dbname=...".
bool is_address(const std::string& parameters) {
  const auto equals = parameters.find('=');
  return equals == std::string::npos || parameters.find_first_of("@/:") < equals;
}

}  // namespace

LedgerAt LedgerAt::beside(const std::string& runs) {
  LedgerAt at;
  at.file_ = runs + "/ledger.db";
  return at;
}

Result<LedgerAt> LedgerAt::named(const std::string& connection) {
  const auto colon = connection.find("://");
  LedgerAt at;
  at.backend_ = connection.substr(0, colon);
  if (colon == std::string::npos || (at.backend_ != "sqlite3" && at.backend_ != "postgresql"))
    return fail(Fault::bad_input, "the ledger's connection string begins with '" +
                                      connection.substr(0, connection.find_first_of(" :=@/")) + "'; " + allowed);
  at.parameters_ = connection.substr(colon + 3);
  if (at.sqlite()) {
    at.file_ = at.parameters_.starts_with("db=") ? at.parameters_.substr(3) : "";
    if (at.file_.empty()) return fail(Fault::bad_input, std::string{"the ledger's file is not named; "} + allowed);
  } else if (is_address(at.parameters_)) {
    at.parameters_ = connection;
  }
  return at;
}

std::string LedgerAt::words() const { return sqlite() ? "the ledger '" + file_ + "'" : "the ledger on " + backend_; }

}  // namespace trackrod
