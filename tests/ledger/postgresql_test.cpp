// The same ledger on a server of PostgreSQL: its own, in a folder of the test, on a socket in that folder.

#include <fcntl.h>
#include <pwd.h>
#include <sys/wait.h>
#include <unistd.h>

#include <chrono>
#include <csignal>
#include <fstream>
#include <thread>

#include "tests/catch.hpp"
#include "tests/ledger/made_entry.hpp"

namespace trackrod::test {
namespace {

using namespace std::chrono_literals;

// Where Debian keeps the server's programs: apart for each of its versions.
std::string programs() {
  std::string newest;
  std::error_code none;
  for (std::filesystem::directory_iterator it{"/usr/lib/postgresql", none}, end; !none && it != end; it.increment(none))
    if (std::filesystem::exists(it->path() / "bin/initdb")) newest = std::max(newest, it->path().string());
  return newest + "/bin/";
}

class Server {
 public:
  Server() {
    // The server refuses to work for the system's administrator.
    if (geteuid() == 0) user_ = getpwnam("postgres");
    if (user_ != nullptr && chown(place_.folder().c_str(), user_->pw_uid, user_->pw_gid) != 0)
      throw std::runtime_error{"the folder cannot be given to the user postgres"};
    const pid_t made = start({"initdb", "-D", data(), "-U", "bench", "-A", "trust", "-E", "UTF8", "--no-sync"});
    int status = 0;
    waitpid(made, &status, 0);
    if (status != 0) throw std::runtime_error{"initdb: " + said()};
    server_ = start({"postgres", "-D", data(), "-k", place_.folder(), "-c", "listen_addresses="});
  }
  Server(const Server&) = delete;
  Server& operator=(const Server&) = delete;
  ~Server() {
    kill(server_, SIGQUIT);  // at once; nothing of it is wanted
    waitpid(server_, nullptr, 0);
  }

  LedgerAt at() const {
    return *LedgerAt::named("postgresql://host=" + place_.folder() + " user=bench dbname=postgres");
  }
  // Once it listens.
  Ledger ledger() const {
    for (const auto end = std::chrono::steady_clock::now() + 60s;; std::this_thread::sleep_for(20ms)) {
      auto ledger = Ledger::open(at(), true);
      if (ledger) return std::move(*ledger);
      if (std::chrono::steady_clock::now() > end) throw std::runtime_error{ledger.error().context + said()};
    }
  }

 private:
  std::string data() const { return place_.folder() + "/data"; }
  std::string log() const { return place_.folder() + "/log"; }
  std::string said() const {
    std::ifstream in{log()};
    return {std::istreambuf_iterator<char>{in}, {}};
  }
  pid_t start(std::vector<std::string> command) const {
    command[0] = programs() + command[0];
    const pid_t child = fork();
    if (child != 0) return child;
    if (user_ != nullptr && (setgid(user_->pw_gid) != 0 || setuid(user_->pw_uid) != 0)) _exit(9);
    const int out = open(log().c_str(), O_WRONLY | O_CREAT | O_APPEND, 0600);
    dup2(out, STDOUT_FILENO);
    dup2(out, STDERR_FILENO);
    std::vector<char*> argv;
    for (auto& word : command) argv.push_back(word.data());
    argv.push_back(nullptr);
    execv(argv[0], argv.data());
    _exit(9);
  }

  Place place_;
  passwd* user_{nullptr};
  pid_t server_{-1};
};

TEST_CASE("on PostgreSQL the ledger tells the same as on SQLite") {
  const Server server;
  auto there = server.ledger();
  const Place place;
  auto here = *Ledger::open(place.at(), true);
  for (const int day : {22, 20, 21}) {
    auto entry = made_entry(day);
    entry.scorings[0].findings[0].value = 0.1 + 0.2;
    REQUIRE(enter(there, entry));
    REQUIRE(enter(here, entry));
    REQUIRE(enter(there, entry));  // in place of itself
  }
  HistoryFilter every;
  every.every_scoring = true;
  HistoryFilter of_unit;
  of_unit.unit = "LV3-017";
  of_unit.since = "2026-11-21";
  of_unit.finding = "delay.dead_time";
  of_unit.verdict = "fail";
  for (const auto& filter : {HistoryFilter{}, every, of_unit}) {
    const auto runs_there = there.runs(filter), runs_here = here.runs(filter);
    REQUIRE(runs_there);
    REQUIRE(runs_there->size() == runs_here->size());
    for (std::size_t i = 0; i < runs_here->size(); ++i) {
      CHECK((*runs_there)[i].run == (*runs_here)[i].run);
      CHECK((*runs_there)[i].scoring == (*runs_here)[i].scoring);
      CHECK((*runs_there)[i].verdicts.size() == (*runs_here)[i].verdicts.size());
    }
    const auto found_there = there.findings(filter), found_here = here.findings(filter);
    REQUIRE(found_there);
    REQUIRE(found_there->size() == found_here->size());
    REQUIRE_FALSE(found_there->empty());
    for (std::size_t i = 0; i < found_here->size(); ++i) {
      CHECK((*found_there)[i].finding == (*found_here)[i].finding);
      CHECK((*found_there)[i].ordinal == (*found_here)[i].ordinal);
    }
  }
  CHECK(*there.names(LedgerName::finding) == *here.names(LedgerName::finding));

  SECTION("a change that fails is undone there too") {
    const auto done = there.change([&](Ledger::Change& change) -> Result<void> {
      change.forget_all("");
      return fail(Fault::storage, "a folder did not read");
    });
    CHECK_FALSE(done);
    auto twice = made_entry(27);
    twice.files.push_back(twice.files.back());
    CHECK_FALSE(enter(there, twice));
    CHECK(there.runs({})->size() == 3);
  }
  SECTION("processes that write at once lose no entry") {
    std::vector<pid_t> children;
    for (int n = 0; n < 4; ++n) {
      const pid_t child = fork();
      if (child == 0) {
        auto ledger = Ledger::open(server.at(), true);
        bool good = ledger.has_value();
        for (int day = 1; good && day < 6; ++day)
          good = enter(*ledger, made_entry(day, "LV3-017-010" + std::to_string(n))).has_value();
        _exit(good ? 0 : 1);
      }
      children.push_back(child);
    }
    for (const pid_t child : children) {
      int status = 0;
      waitpid(child, &status, 0);
      CHECK(status == 0);
    }
    CHECK(there.runs({})->size() == 3 + 4 * 5);
  }
}

}  // namespace
}  // namespace trackrod::test
