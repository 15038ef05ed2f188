#pragma once
// A session with the ledger's database, and all that differs between the kinds of database: how it is opened, how its
// one writer waits for another, and what its errors mean. Nothing else in this folder knows which kind it talks to.

#define SOCI_USE_BOOST  // a column without a value is a boost::optional
#include <soci/soci.h>

#include <boost/optional.hpp>
#include <exception>
#include <memory>

#include "harness/ledger/whereabouts.hpp"

namespace trackrod {

struct Connection {
  LedgerAt at;
  soci::session sql;
};

// With `make`, a file that is not there yet is made, readable by owner and group only. A file that may not be written
// is opened to be read. Blocks. Error kinds: bad_input where there is none, bad_frame where it is no database or a
// damaged one, storage, refused, internal.
Result<std::unique_ptr<Connection>> connect(const LedgerAt& at, bool make);

// A transaction of the only writer; waits half a minute for another one to end. What is not committed when this goes
// never was. Throws what SOCI throws.
class Writing {
 public:
  explicit Writing(Connection& connection);
  Writing(const Writing&) = delete;
  Writing& operator=(const Writing&) = delete;
  ~Writing();
  void commit();

 private:
  soci::session& sql_;
  bool open_{true};
};

// What the database finds wrong with its own file, in words; empty: nothing. Throws what SOCI throws.
std::string damage(Connection& connection);

// Throws what SOCI throws.
bool has_table(Connection& connection, const std::string& name);

// The error that an exception of SOCI stands for: bad_frame where the file is damaged, timed_out where another writer
// took too long, else storage.
Error error_of(const LedgerAt& at, const std::exception& exception);

}  // namespace trackrod
