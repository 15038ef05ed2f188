#include "harness/ledger/ledger.hpp"

#include <array>

#include "harness/ledger/columns.hpp"
#include "harness/ledger/schema.hpp"
#include "harness/ledger/state.hpp"
#include "harness/ledger/statement.hpp"

namespace trackrod {
namespace {

constexpr std::array tables{"runs", "invalid_reasons", "identities", "files", "scorings", "findings"};

NewRow row_of(const RunEntry& entry) {
  NewRow row;
  row.key("place", entry.place).key("run", entry.run);
  return row;
}

void enter_lists(Connection& connection, const RunEntry& entry) {
  int number = 0;
  for (const auto& reason : entry.invalid) {
    auto row = row_of(entry).key("number", ++number);
    row("reason", reason);
    row.into(connection, "invalid_reasons");
  }
  number = 0;
  for (const auto& identity : entry.identities) {
    auto row = row_of(entry).key("number", ++number);
    row("device", identity.device);
    row("said", identity.said);
    row.into(connection, "identities");
  }
  for (const auto& file : entry.files) {
    auto row = row_of(entry).key("name", file.name);
    row("bytes", file.bytes);
    row("sha256", file.sha256);
    row.into(connection, "files");
  }
}

void enter_scoring(Connection& connection, const RunEntry& entry, const LedgerScoring& scoring) {
  auto row = row_of(entry).key("scoring", scoring.number);
  row("plan", scoring.plan);
  row("plan_hash", scoring.plan_hash);
  row.into(connection, "scorings");
  int number = 0;
  for (const auto& finding : scoring.findings) {
    auto of_finding = row_of(entry).key("scoring", scoring.number).key("number", ++number);
    finding_columns(finding, of_finding);
    of_finding.into(connection, "findings");
  }
}

}  // namespace

Ledger::Ledger(std::unique_ptr<State> state) : state_{std::move(state)} {}
Ledger::Ledger(Ledger&&) noexcept = default;
Ledger& Ledger::operator=(Ledger&&) noexcept = default;
Ledger::~Ledger() = default;

Result<Ledger> Ledger::open(const LedgerAt& at, bool make) {
  auto connection = connect(at, make);
  if (!connection) return tl::unexpected<Error>{connection.error()};
  if (auto up = bring_up(**connection, ledger_migrations()); !up) return tl::unexpected<Error>{up.error()};
  return Ledger{std::unique_ptr<State>{new State{std::move(*connection)}}};
}

Result<void> Ledger::change(const std::function<Result<void>(Change&)>& what) {
  auto& connection = *state_->connection;
  try {
    Writing writing{connection};
    Change change{*state_};
    if (auto done = what(change); !done) return done;
    writing.commit();
    return {};
  } catch (const std::exception& e) {
    return tl::unexpected<Error>{error_of(connection.at, e)};
  }
}

Result<void> Ledger::whole() {
  auto& connection = *state_->connection;
  try {
    const auto found = damage(connection);
    return found.empty() ? Result<void>{}
                         : fail(Fault::bad_frame, connection.at.words() + " is damaged (" + found + ")");
  } catch (const std::exception& e) {
    return tl::unexpected<Error>{error_of(connection.at, e)};
  }
}

void Ledger::Change::enter(const RunEntry& entry) {
  auto& connection = *state_.connection;
  for (const auto* table : tables)
    connection.sql << std::string{"delete from "} + table + " where place = :place and run = :run",
        soci::use(entry.place, "place"), soci::use(entry.run, "run");
  auto row = row_of(entry);
  run_columns(entry, row);
  row.into(connection, "runs");
  enter_lists(connection, entry);
  for (const auto& scoring : entry.scorings) enter_scoring(connection, entry, scoring);
}

void Ledger::Change::forget_all(const std::string& place) {
  for (const auto* table : tables)
    state_.connection->sql << std::string{"delete from "} + table + " where place = :place", soci::use(place, "place");
}

}  // namespace trackrod
