// Several processes at one ledger.

#include <sys/wait.h>
#include <unistd.h>

#include <chrono>
#include <csignal>
#include <set>
#include <thread>

#include "tests/catch.hpp"
#include "tests/ledger/made_entry.hpp"

namespace trackrod::test {
namespace {

using namespace std::chrono_literals;

// Runs `work(n)` for each n below `count` in a process of its own; how many of them came to `true`.
template <class Work>
int in_processes(int count, Work&& work) {
  std::vector<pid_t> children;
  for (int n = 0; n < count; ++n) {
    const pid_t child = fork();
    if (child == 0) _exit(work(n) ? 0 : 1);
    children.push_back(child);
  }
  int good = 0;
  for (const pid_t child : children) {
    int status = 0;
    waitpid(child, &status, 0);
    good += WIFEXITED(status) && WEXITSTATUS(status) == 0 ? 1 : 0;
  }
  return good;
}

RunEntry entry_of(int process, int number) {
  auto entry = made_entry(1 + number % 28);
  entry.run += "-" + std::to_string(process) + "-" + std::to_string(number);
  return entry;
}

TEST_CASE("processes that make, write and read one ledger at once lose no entry") {
  const Place place;
  constexpr int processes = 8, runs = 25;
  const int good = in_processes(processes, [&](int process) {
    auto ledger = Ledger::open(place.at(), true);
    if (!ledger) return std::fprintf(stderr, "%s\n", ledger.error().context.c_str()), false;
    for (int n = 0; n < runs; ++n) {
      if (const auto entered = enter(*ledger, entry_of(process, n)); !entered)
        return std::fprintf(stderr, "%s\n", entered.error().context.c_str()), false;
      const auto told = ledger->runs({});
      if (!told || told->size() < static_cast<std::size_t>(n) + 1) return false;
    }
    return true;
  });
  CHECK(good == processes);
  const auto told = Ledger::open(place.at(), false)->runs({});
  REQUIRE(told);
  std::set<std::string> names;
  for (const auto& line : *told) names.insert(line.run.run);
  CHECK(names.size() == processes * runs);
  CHECK(Ledger::open(place.at(), false)->findings({})->size() == 2 * processes * runs);
}

TEST_CASE("who comes while another writes waits for it, and has then seen what it wrote") {
  const Place place;
  REQUIRE(Ledger::open(place.at(), true));
  int go[2];
  REQUIRE(pipe(go) == 0);
  const pid_t writer = fork();
  if (writer == 0) {
    auto ledger = Ledger::open(place.at(), false);
    const auto done = ledger->change([&](Ledger::Change& change) -> Result<void> {
      change.enter(made_entry(25));
      if (write(go[1], "x", 1) != 1) return fail(Fault::internal, "pipe");
      std::this_thread::sleep_for(500ms);  // the other one is waiting by now, or comes to an open door: both are right
      return {};
    });
    _exit(done ? 0 : 1);
  }
  char byte = 0;
  REQUIRE(read(go[0], &byte, 1) == 1);
  auto ledger = Ledger::open(place.at(), false);
  REQUIRE(ledger);
  CHECK(ledger->runs({})->empty());  // a reader neither waits nor sees half a change
  const auto done = ledger->change([&](Ledger::Change& change) -> Result<void> {
    change.enter(made_entry(26));
    return {};
  });
  CHECK(done);
  int status = 0;
  waitpid(writer, &status, 0);
  CHECK(WEXITSTATUS(status) == 0);
  CHECK(ledger->runs({})->size() == 2);
  close(go[0]);
  close(go[1]);
}

TEST_CASE("a process killed in the middle of a change leaves what was there before, and no lock") {
  const Place place;
  {
    auto ledger = Ledger::open(place.at(), true);
    for (int n = 0; n < 20; ++n) REQUIRE(enter(*ledger, entry_of(0, n)));
  }
  int go[2];
  REQUIRE(pipe(go) == 0);
  const pid_t writer = fork();
  if (writer == 0) {
    auto ledger = Ledger::open(place.at(), false);
    static_cast<void>(ledger->change([&](Ledger::Change& change) -> Result<void> {
      change.forget_all("");
      for (int n = 0; n < 5; ++n) change.enter(entry_of(1, n));
      if (write(go[1], "x", 1) != 1) _exit(1);
      pause();
      return {};
    }));
    _exit(1);
  }
  char byte = 0;
  REQUIRE(read(go[0], &byte, 1) == 1);
  kill(writer, SIGKILL);
  waitpid(writer, nullptr, 0);
  close(go[0]);
  close(go[1]);
  auto ledger = Ledger::open(place.at(), false);
  REQUIRE(ledger);
  CHECK(ledger->runs({})->size() == 20);
  CHECK(enter(*ledger, made_entry(25)));
  CHECK(ledger->runs({})->size() == 21);
}

}  // namespace
}  // namespace trackrod::test
