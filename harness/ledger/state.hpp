#pragma once
// What a ledger holds; apart, so that who includes ledger.hpp need not know the database's library.

#include <memory>

#include "harness/ledger/connection.hpp"
#include "harness/ledger/ledger.hpp"

namespace trackrod {

struct Ledger::State {
  std::unique_ptr<Connection> connection;
};

}  // namespace trackrod
