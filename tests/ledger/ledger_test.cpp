// What is entered is what is told, and what an outside reader finds in the file.

#include <sys/stat.h>
#include <sys/wait.h>
#include <unistd.h>

#include <fstream>
#include <nlohmann/json.hpp>

#include "tests/catch.hpp"
#include "tests/ledger/made_entry.hpp"
#include "tests/report/judges.hpp"

namespace trackrod::test {
namespace {

Ledger opened(const LedgerAt& at, bool make = true) {
  auto ledger = Ledger::open(at, make);
  INFO((ledger ? std::string{} : ledger.error().context));
  REQUIRE(ledger);
  return std::move(*ledger);
}

RunEntry without_lists(RunEntry entry) {
  entry.invalid.clear();
  entry.identities.clear();
  entry.files.clear();
  entry.scorings.clear();
  return entry;
}

// All rows of a table by Python's sqlite3, as JSON, in the order in which they were entered.
nlohmann::json rows(const Place& place, const std::string& table) {
  const auto answer = judges::python(R"py(
import json, sqlite3, sys
file, table = open(sys.argv[1]).read().split('\n')
db = sqlite3.connect(file)
db.row_factory = sqlite3.Row
print(json.dumps([dict(r) for r in db.execute('select * from ' + table)]))
)py",
                                     place.file() + "\n" + table);
  INFO(answer.said);
  REQUIRE(answer.good);
  return nlohmann::json::parse(answer.said);
}

TEST_CASE("a run comes back out of the ledger as it went in") {
  const Place place;
  auto ledger = opened(place.at());
  auto entry = made_entry(25);
  entry.scorings[0].findings[0].value = 0.1 + 0.2;  // no decimal fraction of 16 digits
  REQUIRE(enter(ledger, entry));
  HistoryFilter every;
  every.every_scoring = true;
  const auto runs = ledger.runs(every);
  REQUIRE(runs);
  REQUIRE(runs->size() == 2);
  CHECK(runs->front().run == without_lists(entry));
  CHECK(runs->front().scoring == 1);
  CHECK(runs->front().scorings == 2);
  const auto findings = ledger.findings(every);
  REQUIRE(findings);
  REQUIRE(findings->size() == 3);
  CHECK((*findings)[0].finding == entry.scorings[0].findings[0]);
  CHECK((*findings)[1].finding == entry.scorings[0].findings[1]);
  CHECK((*findings)[2].finding == entry.scorings[1].findings[0]);
  CHECK((*findings)[2].run == without_lists(entry));
}

TEST_CASE("Python's sqlite3 reads the same out of the file") {
  const Place place;
  auto ledger = opened(place.at());
  const auto entry = made_entry(25);
  REQUIRE(enter(ledger, entry));
  const auto run = rows(place, "runs").at(0);
  CHECK(run["run"] == entry.run);
  CHECK(run["unit"] == "LV3-017-0001");
  CHECK(run["at"] == entry.at);
  CHECK(run["rehearsal"] == 0);
  CHECK(run["seal"].is_null());
  const auto found = rows(place, "findings");
  REQUIRE(found.size() == 3);
  CHECK(found[0]["value"] == 66.0);
  CHECK(found[0]["limit_low"].is_null());
  CHECK(found[0]["limit_high"] == 50.0);
  CHECK(nlohmann::json::parse(found[0]["signals"].get<std::string>()) ==
        nlohmann::json{"hand.angle_ref", "road.angle_ref"});
  CHECK(nlohmann::json::parse(found[0]["conditions"].get<std::string>())["vehicle.speed"] == "40.0 km/h");
  CHECK(found[1]["value"].is_null());
  CHECK(found[1]["step"] == without_value().step);
  CHECK(found[1]["reason"] == without_value().reason);
  CHECK(found[2]["scoring"] == 2);
  CHECK(rows(place, "files")[1]["bytes"] == 6000000000);
  CHECK(rows(place, "identities")[1]["said"] == "software: 2.4.1");
  CHECK(rows(place, "invalid_reasons")[0]["reason"] == "the fault memory held an entry");
  CHECK(rows(place, "ledger_version")[0]["version"] == 1);
}

TEST_CASE("the file keeps a log ahead, loses nothing that was committed, and is private") {
  const Place place;
  auto ledger = opened(place.at());
  REQUIRE(enter(ledger, made_entry(25)));
  CHECK(judges::python("import sqlite3, sys\n"
                       "print(sqlite3.connect(open(sys.argv[1]).read()).execute('pragma journal_mode').fetchone()[0])",
                       place.file())
            .said == "wal\n");
  struct stat facts {};
  REQUIRE(stat(place.file().c_str(), &facts) == 0);
  CHECK((facts.st_mode & S_IRWXO) == 0);
}

TEST_CASE("a run that is entered again stands in place of what was there") {
  const Place place;
  auto ledger = opened(place.at());
  REQUIRE(enter(ledger, made_entry(25)));
  auto again = made_entry(25);
  again.scorings.pop_back();
  again.files.pop_back();
  again.ending = "tripped";
  REQUIRE(enter(ledger, again));
  CHECK(rows(place, "runs").size() == 1);
  CHECK(rows(place, "runs")[0]["ending"] == "tripped");
  CHECK(rows(place, "scorings").size() == 1);
  CHECK(rows(place, "findings").size() == 2);
  CHECK(rows(place, "files").size() == 1);
}

TEST_CASE("a change that fails leaves the ledger as it was") {
  const Place place;
  auto ledger = opened(place.at());
  REQUIRE(enter(ledger, made_entry(25)));
  const auto before = rows(place, "findings");
  const auto done = ledger.change([&](Ledger::Change& change) -> Result<void> {
    change.forget_all("");
    change.enter(made_entry(26));
    return fail(Fault::storage, "a folder did not read");
  });
  REQUIRE_FALSE(done);
  CHECK(done.error().context == "a folder did not read");
  CHECK(rows(place, "findings") == before);
  auto twice = made_entry(27);
  twice.files.push_back(twice.files.back());  // no folder has a name twice
  CHECK_FALSE(enter(ledger, twice));
  CHECK(rows(place, "runs").size() == 1);
  CHECK(enter(ledger, made_entry(26)));  // and the connection is still good
}

TEST_CASE("places are kept apart: only one of them is forgotten") {
  const Place place;
  auto ledger = opened(place.at());
  auto here = made_entry(25), there = made_entry(25);
  here.place = "bench-pc:/srv/runs";
  there.place = "other-pc:/srv/runs";
  REQUIRE(enter(ledger, here));
  REQUIRE(enter(ledger, there));
  REQUIRE(ledger.change([&](Ledger::Change& change) -> Result<void> {
    change.forget_all("bench-pc:/srv/runs");
    return {};
  }));
  CHECK(ledger.folders("bench-pc:/srv/runs")->empty());
  CHECK(ledger.folders("other-pc:/srv/runs")->size() == 1);
}

struct Filtered {
  HistoryFilter filter;
  std::size_t runs, findings;
};

TEST_CASE("filters let through what they name and nothing else") {
  const Place place;
  auto ledger = opened(place.at());
  for (const int day : {20, 21, 22}) REQUIRE(enter(ledger, made_entry(day)));
  auto other = made_entry(22, "LV3-017-0002");
  other.plan = "on-centre";
  other.scorings.clear();  // cut short before it was scored
  REQUIRE(enter(ledger, other));
  const auto by = [](std::string HistoryFilter::*member, const std::string& value) {
    HistoryFilter f;
    f.*member = value;
    return f;
  };
  // Of each scored run the last scoring has one finding, "delay.dead_time"; "hysteresis.width" is of the first only.
  const Filtered cases[] = {
      {{}, 4, 6},
      {by(&HistoryFilter::unit, "LV3-017-0001"), 3, 6},
      {by(&HistoryFilter::unit, "LV3-017"), 4, 6},
      {by(&HistoryFilter::unit, "LV3"), 0, 0},
      {by(&HistoryFilter::plan, "on-centre"), 1, 0},
      {by(&HistoryFilter::bench, "demo"), 4, 6},
      {by(&HistoryFilter::since, "2026-11-21"), 3, 4},
      {by(&HistoryFilter::until, "2026-11-21"), 2, 4},
      {by(&HistoryFilter::finding, "delay.dead_time"), 3, 3},
      {by(&HistoryFilter::step, "triangle-20"), 3, 3},
      {by(&HistoryFilter::requirement, "SW-STEER-012"), 3, 3},
      {by(&HistoryFilter::verdict, "fail"), 3, 3},
  };
  for (std::size_t i = 0; i < std::size(cases); ++i) {
    CAPTURE(i);
    const auto runs = ledger.runs(cases[i].filter);
    const auto findings = ledger.findings(cases[i].filter);
    REQUIRE(runs);
    REQUIRE(findings);
    CHECK(runs->size() == cases[i].runs);
    CHECK(findings->size() == cases[i].findings);
  }
  CHECK(*ledger.names(LedgerName::finding) == std::vector<std::string>{"delay.dead_time", "hysteresis.width"});
  CHECK(*ledger.names(LedgerName::unit) == std::vector<std::string>{"LV3-017-0001", "LV3-017-0002", "LV3-017"});
}

TEST_CASE("runs stand in the order of time, whatever the order in which they were entered") {
  const Place place;
  auto ledger = opened(place.at());
  for (const int day : {22, 20, 21}) REQUIRE(enter(ledger, made_entry(day)));
  const auto runs = ledger.runs({});
  REQUIRE(runs);
  REQUIRE(runs->size() == 3);
  for (std::size_t i = 0; i < 3; ++i) CHECK((*runs)[i].run.day == "2026-11-2" + std::to_string(i));
  CHECK((*runs)[0].scoring == 2);
  REQUIRE((*runs)[0].verdicts.size() == 1);
  CHECK((*runs)[0].verdicts[0].verdict == "fail");
}

TEST_CASE("where there is no ledger, none is made by looking") {
  const Place place;
  const auto ledger = Ledger::open(place.at(), false);
  REQUIRE_FALSE(ledger);
  CHECK(ledger.error().fault == Fault::bad_input);
  CHECK(ledger.error().context == "the ledger '" + place.file() + "' is not there");
  CHECK_FALSE(std::filesystem::exists(place.file()));
}

TEST_CASE("a file that is no ledger is told, and left as it is") {
  const Place place;
  const std::string garbage(5000, 'x');
  std::ofstream{place.file()} << garbage;
  const auto ledger = Ledger::open(place.at(), true);
  REQUIRE_FALSE(ledger);
  CHECK(ledger.error().fault == Fault::bad_frame);
  CHECK(ledger.error().context.find("is damaged or is no ledger (file is not a database)") != std::string::npos);
  std::ifstream in{place.file()};
  CHECK(std::string{std::istreambuf_iterator<char>{in}, {}} == garbage);
}

TEST_CASE("a ledger with a damaged page tells so where it comes to that page") {
  const Place place;
  {
    auto ledger = opened(place.at());
    for (int day = 10; day < 30; ++day) REQUIRE(enter(ledger, made_entry(day)));
  }
  const auto size = std::filesystem::file_size(place.file());
  {
    std::fstream file{place.file(), std::ios::in | std::ios::out | std::ios::binary};
    for (std::uintmax_t at = 4096; at + 100 < size; at += 4096)
      file.seekp(static_cast<std::streamoff>(at)) << std::string(100, '\xff');
  }
  auto ledger = Ledger::open(place.at(), false);
  const auto runs = ledger ? ledger->findings({}) : tl::unexpected<Error>{ledger.error()};
  REQUIRE_FALSE(runs);
  INFO(runs.error().context);
  CHECK(runs.error().fault == Fault::bad_frame);
}

TEST_CASE("in a folder that may not be written the ledger is read, and nothing can be entered") {
  const Place place;
  {
    auto ledger = opened(place.at());
    REQUIRE(enter(ledger, made_entry(25)));
  }
  chmod(place.file().c_str(), 0444);
  chmod(place.folder().c_str(), 0555);
  const pid_t child = fork();
  if (child == 0) {
    if (geteuid() == 0 && setuid(65534) != 0) _exit(9);  // the system's administrator may write anywhere
    auto ledger = Ledger::open(place.at(), false);
    if (!ledger) _exit(2);
    const auto runs = ledger->runs({});
    if (!runs || runs->size() != 1) _exit(3);
    const auto entered = enter(*ledger, made_entry(26));
    if (entered || entered.error().fault != Fault::storage) _exit(4);
    _exit(0);
  }
  int status = 0;
  waitpid(child, &status, 0);
  chmod(place.folder().c_str(), 0755);
  REQUIRE(WIFEXITED(status));
  CHECK(WEXITSTATUS(status) == 0);
}

}  // namespace
}  // namespace trackrod::test
