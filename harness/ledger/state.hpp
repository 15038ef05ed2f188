#pragma once
#include <memory>

#include "harness/ledger/connection.hpp"
#include "harness/ledger/ledger.hpp"

namespace trackrod {

struct Ledger::State {
  std::unique_ptr<Connection> connection;
};

}  // namespace trackrod
