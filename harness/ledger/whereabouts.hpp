#pragma once
// Where a ledger is: a file of SQLite, or a database by a connection string.

#include <string>

#include "harness/base/error.hpp"

namespace trackrod {

class LedgerAt {
 public:
  // The file ledger.db in the folder of the runs.
  static LedgerAt beside(const std::string& runs);
  // "sqlite3://db=FILE", "postgresql://host=HOST dbname=NAME" as SOCI writes it, or "postgresql://USER@HOST/NAME" as
  // PostgreSQL's own library does. Error kind bad_input.
  static Result<LedgerAt> named(const std::string& connection);

  bool sqlite() const { return backend_ == "sqlite3"; }
  // Of SQLite: its file, else empty.
  const std::string& file() const { return file_; }
  // Without what follows the backend's name, which may hold a password.
  std::string words() const;
  // SOCI's name of the backend, and what it hands to it. Not for files of SQLite.
  const std::string& backend() const { return backend_; }
  const std::string& parameters() const { return parameters_; }

 private:
  std::string backend_{"sqlite3"}, file_, parameters_;
};

}  // namespace trackrod
