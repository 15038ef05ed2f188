#include "harness/ledger/schema.hpp"

#include <array>

namespace trackrod {
namespace {

const std::array<Migration, 1> migrations{{
    {
        "create table runs (place text not null, run text not null, folder text not null, started text, ended text, "
        "at bigint not null, day text not null, duration_s double precision not null, program text, build text, "
        "plan text, plan_hash text, bench text, bench_hash text, unit_name text, unit text, part_number text, "
        "software text, rehearsal integer not null, imported integer not null, unattended integer not null, "
        "as_planned integer not null, tripped integer not null, refused integer not null, ending text, "
        "after_run text, seal text, primary key (place, run))",
        "create table invalid_reasons (place text not null, run text not null, number integer not null, "
        "reason text not null, primary key (place, run, number))",
        "create table identities (place text not null, run text not null, number integer not null, device text, "
        "said text, primary key (place, run, number))",
        "create table files (place text not null, run text not null, name text not null, bytes bigint not null, "
        "sha256 text, primary key (place, run, name))",
        "create table scorings (place text not null, run text not null, scoring integer not null, plan text, "
        "plan_hash text, primary key (place, run, scoring))",
        "create table findings (place text not null, run text not null, scoring integer not null, "
        "number integer not null, name text not null, step text, signals text not null, conditions text not null, "
        "value double precision, unit text, standard_uncertainty double precision, low double precision, "
        "high double precision, coverage double precision, limit_kind text, limit_low double precision, "
        "limit_high double precision, rule text, requirement text, verdict text, reason text, "
        "primary key (place, run, scoring, number))",
        "create index runs_by_time on runs (at)",
        "create index findings_by_name on findings (name)",
    },
}};

}  // namespace

std::span<const Migration> ledger_migrations() { return migrations; }

int ledger_version(Connection& connection) {
  if (!has_table(connection, "ledger_version")) return 0;
  int version = 0;
  connection.sql << "select version from ledger_version", soci::into(version);
  return version;
}

Result<void> bring_up(Connection& connection, std::span<const Migration> steps) {
  const auto newest = static_cast<int>(steps.size());
  try {
    for (auto version = ledger_version(connection); version != newest; version = ledger_version(connection)) {
      if (version > newest)
        return fail(Fault::refused, connection.at.words() + " is of version " + std::to_string(version) +
                                        "; this program knows versions up to " + std::to_string(newest) +
                                        ". Use the program that wrote it, or a newer one");
      Writing writing{connection};
      // Another program may have taken the step meanwhile.
      if (ledger_version(connection) != version) continue;
      if (version == 0) {
        connection.sql << "create table ledger_version (version integer not null)";
        connection.sql << "insert into ledger_version (version) values (0)";
      }
      for (const auto& statement : steps[static_cast<std::size_t>(version)]) connection.sql << statement;
      connection.sql << "update ledger_version set version = " << version + 1;
      writing.commit();
    }
    return {};
  } catch (const std::exception& e) {
    return tl::unexpected<Error>{error_of(connection.at, e)};
  }
}

}  // namespace trackrod
