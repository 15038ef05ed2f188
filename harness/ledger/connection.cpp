#include "harness/ledger/connection.hpp"

#include <fcntl.h>
#include <soci/sqlite3/soci-sqlite3.h>
#include <unistd.h>

#include <cerrno>
#include <chrono>
#include <filesystem>
#include <string_view>
#include <thread>

namespace trackrod {
namespace {

using namespace std::chrono_literals;

constexpr auto longest_wait = 30s;
// A number that is ours among the advisory locks of a PostgreSQL database.
constexpr char postgresql_lock[] = "select pg_advisory_xact_lock(7472616)";

bool holds(std::string_view text, std::string_view words) { return text.find(words) != text.npos; }

// What the database said, in one line, without the function that heard it and the statement that it was about.
std::string one_line(std::string text) {
  if (text.starts_with("sqlite3_"))
    if (const auto colon = text.find(": "); colon != std::string::npos) text.erase(0, colon + 2);
  if (const auto hint = text.find("\n\t"); hint != std::string::npos) text.resize(hint);
  if (const auto statement = text.find(" while "); statement != std::string::npos) text.resize(statement);
  for (auto& c : text)
    if (c == '\n' || c == '\t') c = ' ';
  while (!text.empty() && (text.back() == ' ' || text.back() == '.')) text.pop_back();
  return text;
}

// RFC 3986: what would end the path, or begin an escape.
std::string in_address(const std::string& path) {
  std::string out;
  for (const char c : path) out += c == '%' ? "%25" : c == '?' ? "%3f" : c == '#' ? "%23" : std::string(1, c);
  return out;
}

// In a folder that may not be written, SQLite can share a file with a writer only where the writer's files are there;
// where they are not, nobody writes.
std::string to_be_read(const std::string& file) {
  if (std::filesystem::exists(file + "-wal")) return "db=\"" + file + "\" readonly=true";
  return "db=\"file:" + in_address(file) + "?immutable=1\" readonly=true";
}

// The kind of journal is kept in the file. Two that set it at once do not wait for each other by themselves.
void keep_a_log_ahead(soci::session& sql) {
  const auto end = std::chrono::steady_clock::now() + longest_wait;
  while (true) {
    try {
      std::string kind;
      sql << "pragma journal_mode=wal", soci::into(kind);
      return;
    } catch (const soci::soci_error& e) {
      if (!holds(e.what(), "locked") || std::chrono::steady_clock::now() > end) throw;
    }
    std::this_thread::sleep_for(5ms);
  }
}

Result<void> make_file(const std::string& file) {
  // Private, as the run folders are. An empty file is an empty database.
  const int fd = ::open(file.c_str(), O_RDWR | O_CREAT | O_CLOEXEC, 0660);
  if (fd < 0) return fail_os(Fault::storage, "the ledger '" + file + "' cannot be made", errno);
  ::close(fd);
  return {};
}

void open_sqlite(Connection& connection) {
  const auto& file = connection.at.file();
  const auto parent = std::filesystem::path{file}.parent_path();
  const bool writable = access(file.c_str(), W_OK) == 0 && access(parent.empty() ? "." : parent.c_str(), W_OK) == 0;
  const auto waits = " timeout=" + std::to_string(longest_wait.count());
  connection.sql.open(soci::sqlite3, (writable ? "db=\"" + file + "\"" : to_be_read(file)) + waits);
  if (!writable) return;
  keep_a_log_ahead(connection.sql);
  // What is committed is on the disk: a verdict that was told stays. (As a word of the connection string, SOCI would
  // say this to the file before it knows how long to wait.)
  connection.sql << "pragma synchronous = full";
}

}  // namespace

Result<std::unique_ptr<Connection>> connect(const LedgerAt& at, bool make) {
  auto connection = std::make_unique<Connection>();
  connection->at = at;
  if (holds(at.file(), "\""))
    return fail(Fault::bad_input, at.words() + ": found a quotation mark in its path; allowed: any path without one");
  std::error_code os;
  if (at.sqlite() && make && !std::filesystem::exists(at.file(), os))
    if (auto made = make_file(at.file()); !made) return tl::unexpected<Error>{made.error()};
  if (at.sqlite() && !std::filesystem::exists(at.file(), os))
    return fail(Fault::bad_input, at.words() + " is not there");
  try {
    if (at.sqlite())
      open_sqlite(*connection);
    else
      connection->sql.open(at.backend(), at.parameters());
  } catch (const std::exception& e) {
    if (holds(e.what(), "Failed to find shared library"))
      return fail(Fault::refused, at.words() + " cannot be opened: SOCI's part for " + at.backend() +
                                      " is not installed; on Debian 12 it is the package libsoci-" + at.backend() +
                                      "4.0");
    return tl::unexpected<Error>{error_of(at, e)};
  }
  return connection;
}

Writing::Writing(Connection& connection) : sql_{connection.sql} {
  if (connection.at.sqlite()) {
    sql_ << "begin immediate";  // a plain one would begin as a reader, who may not wait to become the writer
    return;
  }
  sql_.begin();
  sql_ << "set local lock_timeout = '" << longest_wait.count() << "s'";
  sql_ << postgresql_lock;
}

Writing::~Writing() {
  if (!open_) return;
  try {
    sql_.rollback();
  } catch (const std::exception&) {  // the connection is gone, and with it the transaction
  }
}

void Writing::commit() {
  sql_.commit();
  open_ = false;
}

std::string damage(Connection& connection) {
  if (!connection.at.sqlite()) return "";  // its server's business
  std::string found;
  connection.sql << "pragma quick_check(1)", soci::into(found);
  return found == "ok" ? "" : found;
}

bool has_table(Connection& connection, const std::string& name) {
  int count = 0;
  connection.sql << (connection.at.sqlite() ? "select count(*) from sqlite_master where type = 'table' and name = :name"
                                            : "select count(*) from pg_tables where tablename = :name and schemaname = "
                                              "any(current_schemas(false))"),
      soci::use(name, "name"), soci::into(count);
  return count > 0;
}

Error error_of(const LedgerAt& at, const std::exception& exception) {
  const auto said = one_line(exception.what());
  if (at.sqlite() && (holds(said, "not a database") || holds(said, "malformed") || holds(said, "no such ")))
    return {Fault::bad_frame, at.words() + " is damaged or is no ledger (" + said + ")", {}};
  if (holds(said, "locked") || holds(said, "lock timeout"))
    return {
        Fault::timed_out,
        at.words() + " was written by another program for longer than " + std::to_string(longest_wait.count()) + " s",
        {}};
  if (holds(said, "readonly database") || holds(said, "unable to open database file"))
    return {
        Fault::storage, at.words() + " cannot be opened or written: look at the rights of the file and its folder", {}};
  return {Fault::storage, at.words() + " gives: " + said, {}};
}

}  // namespace trackrod
