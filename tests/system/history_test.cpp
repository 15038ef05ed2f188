// The ledger beside the runs: what history lists of it, and that the run folders are the truth.

#include "tests/catch.hpp"
#include "tests/report/judges.hpp"
#include "tests/system/demo_rig.hpp"

namespace trackrod::test {
namespace {

using Json = nlohmann::json;

struct Told {
  int status;
  std::string out, err;
};

struct HistoryRig : DemoRig {
  // Of the unit whose road wheel follows that late.
  std::string rehearse(const std::string& dead_time) {
    const auto run =
        rehearse_plan(source("tests/system/short_response.json"), {"--truth-set", "road.dead_time=" + dead_time});
    run->wait(60s);
    told_by_run = run->err();
    // Not the newest folder: several may be of one second, by which they are named.
    const std::string before = "report: ", after = "/report.html";
    const auto from = told_by_run.find(before) + before.size();
    return told_by_run.substr(from, told_by_run.find(after, from) - from);
  }
  Told history(std::vector<std::string> arguments) const {
    arguments.insert(arguments.begin(), {"history", file("runs")});
    return told(arguments);
  }
  Told told(const std::vector<std::string>& arguments) const {
    const auto program = start(arguments, "history");
    const int status = program->wait(60s);
    return {status, program->out(), program->err()};
  }
  std::string ledger() const { return file("runs/ledger.db"); }
  // Every row of every table by Python's sqlite3; two ledgers that hold the same give the same text.
  std::string dumped() const {
    const auto answer = judges::python(R"py(
import sqlite3, sys
db = sqlite3.connect(open(sys.argv[1]).read())
for (table,) in db.execute("select name from sqlite_master where type = 'table' order by 1").fetchall():
    for row in sorted(map(repr, db.execute('select * from ' + table))):
        print(table, row)
)py",
                                       ledger());
    INFO(answer.said);
    REQUIRE(answer.good);
    return answer.said;
  }
  std::string told_by_run;
};

std::size_t lines_with(const std::string& text, const std::string& words) {
  std::size_t count = 0;
  std::istringstream lines{text};
  for (std::string line; std::getline(lines, line);) count += line.find(words) != std::string::npos ? 1 : 0;
  return count;
}

std::string name_of(const std::string& folder) { return std::filesystem::path{folder}.filename().string(); }

TEST_CASE("runs are listed, and the trend of a finding is what stands in the folders") {
  HistoryRig rig;
  const auto first = rig.rehearse("20 ms"), second = rig.rehearse("26 ms");
  REQUIRE(first != second);

  const auto hidden = rig.history({});
  CHECK(hidden.status == 0);
  CHECK(hidden.out == "2 rehearsals left out; --rehearsals shows them too\n");
  const auto list = rig.history({"--rehearsals"});
  CAPTURE(list.out, list.err);
  CHECK(list.status == 0);
  CHECK(lines_with(list.out, "LV3-017-0001") == 2);
  CHECK(list.out.find(name_of(first)) != std::string::npos);
  CHECK(list.out.find(name_of(second)) != std::string::npos);

  // The file is read by Python's csv, the folders' findings.json by Python's json: the numbers are the same to the bit.
  const auto trend = rig.history({"--rehearsals", "--finding", "delay.dead_time", "--plot", "--csv", rig.file("t.csv"),
                                  "--svg", rig.file("t.svg")});
  CAPTURE(trend.out, trend.err);
  CHECK(trend.status == 0);
  const auto compared = judges::python(R"py(
import csv, json, sys
place, first, second = open(sys.argv[1]).read().split('\n')
rows = list(csv.DictReader(open(place, newline='')))
number = lambda text: float(text) if text else None
expected = []
for folder in (first, second):
    for f in json.load(open(folder + '/findings.json'))['findings']:
        if f['name'] == 'delay.dead_time':
            low, high = f['interval'] or (None, None)
            limit = f['limit'] or {}
            expected.append((json.load(open(folder + '/run.json'))['run'], f['step'], f['value'], f['unit'],
                             f['standard_uncertainty'], low, high, limit.get('low'), limit.get('high'),
                             f['verdict'] or '', f['requirement'] or ''))
got = [(r['run'], r['step'], number(r['value']), r['value_unit'], number(r['standard_uncertainty']), number(r['low']),
        number(r['high']), number(r['limit_low']), number(r['limit_high']), r['verdict'], r['requirement'])
       for r in rows]
by_run = lambda row: row[0]  # within a run in the order of its findings
assert sorted(got, key=by_run) == sorted(expected, key=by_run), (got, expected)
print(len(got))
)py",
                                       rig.file("t.csv") + "\n" + first + "\n" + second);
  INFO(compared.said);
  CHECK(compared.good);
  CHECK(std::stoi(compared.said) >= 2);
  CHECK(judges::xml(slurp(rig.file("t.svg"))).good);

  const auto given = Json::parse(
      rig.told({"--json", "history", rig.file("runs"), "--rehearsals", "--finding", "delay.dead_time"}).out);
  const auto of = [&](const std::string& folder) {
    for (const auto& finding : given["findings"])
      if (finding["of"]["run"] == name_of(folder)) return finding["value"].get<double>();
    return 0.0;
  };
  CHECK(of(second) - of(first) == Approx(6.0).margin(0.5));  // as the truth was set
  CHECK(given["findings"][0]["of"]["unit"]["serial"] == "LV3-017-0001");
}

TEST_CASE("filters choose runs, and a name that is none is told with the nearest one") {
  HistoryRig rig;
  const auto run = rig.rehearse("20 ms");
  const auto plan = Json::parse(slurp(run + "/plan.json"), nullptr, true, true)["plan"].get<std::string>();
  const auto chosen = [&](std::vector<std::string> filters) {
    filters.push_back("--rehearsals");
    return lines_with(rig.history(filters).out, "LV3-017-0001");
  };
  CHECK(chosen({"--unit", "LV3-017"}) == 1);
  CHECK(chosen({"--plan", plan}) == 1);
  CHECK(chosen({"--bench", "demo"}) == 1);
  CHECK(chosen({"--until", "2020-01-01"}) == 0);
  CHECK(chosen({"--since", "2020-01-01"}) == 1);
  const auto wrong = [&](std::vector<std::string> filters) {
    const auto told = rig.history(filters);
    CHECK(told.status == 2);
    return told.err;
  };
  CHECK(wrong({"--finding", "delay.ded_time"}).find("did you mean 'delay.dead_time'?") != std::string::npos);
  CHECK(wrong({"--unit", "LV3-017-0002"}).find("did you mean 'LV3-017-0001'?") != std::string::npos);
  CHECK(wrong({"--since", "yesterday"}).find("allowed: a day") != std::string::npos);
  CHECK(wrong({"--verdict", "good"}).find("pass") != std::string::npos);
  CHECK(wrong({"--ledger", "oracle://x"}).find("allowed: \"postgresql://") != std::string::npos);
}

TEST_CASE("what is scored again stands in the ledger, and the ledger made again holds the same") {
  HistoryRig rig;
  const auto run = rig.rehearse("20 ms");
  rig.rehearse("26 ms");
  CHECK(rig.start({"score", run}, "score")->wait(60s) == rig.start({"score", run}, "score")->wait(60s));
  const auto list = rig.history({"--rehearsals"});
  CAPTURE(list.out);
  CHECK(list.out.find("3 of 3") != std::string::npos);
  CHECK(lines_with(rig.history({"--rehearsals", "--every-scoring"}).out, "LV3-017-0001") == 4);

  const auto before = rig.dumped();
  CHECK(before.find("findings ('', '") != std::string::npos);
  const auto again = rig.history({"--rebuild"});
  CAPTURE(again.out, again.err);
  CHECK(again.status == 0);
  CHECK(again.out.find("was made again: 2 runs") != std::string::npos);
  CHECK(rig.dumped() == before);

  std::filesystem::remove(rig.ledger());
  const auto gone = rig.history({});
  CHECK(gone.status == 2);
  CHECK(gone.err.find("is not there") != std::string::npos);
  CHECK(gone.err.find("trackrod history --rebuild") != std::string::npos);
  CHECK_FALSE(std::filesystem::exists(rig.ledger()));
  CHECK(rig.history({"--rebuild"}).status == 0);
  CHECK(rig.dumped() == before);
}

TEST_CASE("a ledger that is damaged spoils no run, and is set aside when it is made again") {
  HistoryRig rig;
  rig.rehearse("20 ms");
  const auto before = rig.dumped();
  const std::string garbage(3000, 'x');
  std::ofstream{rig.ledger(), std::ios::binary} << garbage;
  const auto run = rig.rehearse("20 ms");
  CHECK(std::filesystem::exists(run + "/findings.json"));
  CHECK(rig.told_by_run.find("the run is not in the ledger: ") != std::string::npos);
  CHECK(slurp(rig.ledger()) == garbage);
  std::filesystem::remove_all(run);

  const auto told = rig.history({});
  CHECK(told.status == 5);
  CHECK(told.err.find("is damaged or is no ledger") != std::string::npos);
  CHECK(rig.history({"--rebuild"}).status == 0);
  CHECK(rig.dumped() == before);
  std::string kept;
  for (const auto& entry : std::filesystem::directory_iterator{rig.file("runs")})
    if (entry.path().filename().string().starts_with("ledger.db.damaged-")) kept = slurp(entry.path());
  CHECK(kept == garbage);
}

TEST_CASE("history says where ledger and folders differ, and a rebuild leaves out what does not read") {
  HistoryRig rig;
  const auto lost = rig.rehearse("20 ms"), kept = rig.rehearse("20 ms");
  const auto copy = rig.file("runs/copy");
  std::filesystem::copy(kept, copy, std::filesystem::copy_options::recursive);
  rig.write("runs/note.txt", "no run");
  std::filesystem::create_directory(rig.file("runs/empty"));
  std::filesystem::rename(lost, rig.file("elsewhere"));
  const auto told = rig.history({});
  CHECK(told.out.find("note: a run folder is not in the ledger (copy)") != std::string::npos);
  CHECK(told.out.find("note: the folder of a run in the ledger is gone (" + name_of(lost) + ")") != std::string::npos);

  std::filesystem::rename(rig.file("elsewhere"), lost);
  std::ofstream{lost + "/findings.json"} << "{\"findings\": [";
  const auto again = rig.history({"--rebuild"});
  CAPTURE(again.out, again.err);
  CHECK(again.status == 0);
  CHECK(lines_with(again.err, "left out: ") == 2);
  CHECK(again.err.find(lost + "/findings.json:1") != std::string::npos);
  CHECK(again.err.find("is a copy of the run in '") != std::string::npos);
  CHECK(again.out.find("was made again: 1 run\n") != std::string::npos);
}

TEST_CASE("a rebuild that is killed at any moment leaves a ledger that can be read and made again") {
  HistoryRig rig;
  const auto run = rig.rehearse("20 ms");
  // Many runs: the same one under other identifiers.
  const auto record = slurp(run + "/run.json");
  constexpr int copies = 150;
  for (int n = 0; n < copies; ++n) {
    const auto name = name_of(run) + "-" + std::to_string(n), folder = rig.file("runs/" + name);
    std::filesystem::create_directory(folder);
    for (const auto* file : {"bench.json", "plan.json", "findings.json"})
      std::filesystem::copy_file(run + "/" + file, folder + "/" + file);
    std::ofstream{folder + "/run.json"} << replaced(record, name_of(run), name);
  }
  REQUIRE(rig.history({"--rebuild"}).status == 0);
  const auto before = rig.dumped();
  const auto changed = [&] { return std::filesystem::exists(rig.ledger() + "-wal"); };
  for (int kill_after = 0; kill_after < 5; ++kill_after) {
    CAPTURE(kill_after);
    const auto program = rig.start({"history", rig.file("runs"), "--rebuild"}, "rebuild");
    eventually([&] { return changed() || !program->running(); }, 10s);
    std::this_thread::sleep_for(std::chrono::milliseconds{20 * kill_after});
    program->signal(SIGKILL);
    program->wait(10s);
    const auto told = rig.history({"--rehearsals"});
    CAPTURE(told.err);
    CHECK(told.status == 0);
    CHECK(lines_with(told.out, "LV3-017-0001") == copies + 1);
  }
  REQUIRE(rig.history({"--rebuild"}).status == 0);
  CHECK(rig.dumped() == before);
}

TEST_CASE("a recording is entered when it is imported, and its findings when it is scored") {
  HistoryRig rig;
  const auto description = DemoRig::source("fixtures/recording/logger.json");
  const auto import = [&](std::vector<std::string> more) {
    std::vector<std::string> arguments{"import", DemoRig::source("fixtures/recording/drive.csv"), "--as", description};
    arguments.insert(arguments.end(), more.begin(), more.end());
    return rig.told(arguments).status;
  };
  CHECK(import({"--runs", rig.file("runs")}) == 0);
  CHECK(rig.history({}).out.find("never scored") != std::string::npos);
  rig.told({"score", rig.run_folder(), "--plan", DemoRig::source("fixtures/recording/plan.json")});
  const auto told = rig.history({"--plan", "recorded-drive"});
  CAPTURE(told.out, told.err);
  CHECK(lines_with(told.out, name_of(rig.run_folder())) == 1);
  CHECK(told.out.find("never scored") == std::string::npos);
  // The day is that of the recording, not of the import.
  const auto started = Json::parse(slurp(rig.run_folder() + "/run.json"))["started"].get<std::string>();
  CHECK(told.out.find(started.substr(0, 10)) != std::string::npos);

  CHECK(import({"--into", rig.file("somewhere")}) == 0);
  CHECK_FALSE(std::filesystem::exists(rig.file("ledger.db")));
}

TEST_CASE("a run on the bench is entered; one whose keeper was killed is told, and entered by a rebuild") {
  HistoryRig rig;
  rig.simulate();
  const auto plan = DemoRig::source("tests/system/short_response.json");
  rig.run_plan(plan)->wait(60s);
  const auto whole = rig.history({});
  CAPTURE(whole.out, whole.err);
  CHECK(lines_with(whole.out, "as planned") == 1);

  const auto killed = rig.run_plan(plan);
  const auto folders = [&] {
    const std::filesystem::directory_iterator all{rig.file("runs")};
    return std::count_if(begin(all), end(all), [](const auto& e) { return exists(e.path() / "run.json"); });
  };
  REQUIRE(eventually([&] { return folders() == 2; }, 30s));
  killed->signal(SIGKILL);
  killed->wait(10s);
  CHECK(rig.history({}).out.find("note: a run folder is not in the ledger") != std::string::npos);
  const auto again = rig.history({"--rebuild"});
  CHECK(lines_with(again.out, "as planned") == 1);
  CHECK(lines_with(again.out, "without a word") == 1);
  CHECK(again.out.find("note:") == std::string::npos);
}

TEST_CASE("runs that end at once are all entered") {
  HistoryRig rig;
  std::vector<std::unique_ptr<Process>> runs;
  for (int n = 0; n < 4; ++n)
    runs.push_back(rig.start({"rehearse", DemoRig::source("tests/system/short_response.json"), "--bench", rig.bench(),
                              "--runs", rig.file("runs")},
                             "rehearse-" + std::to_string(n)));
  for (auto& run : runs) {
    run->wait(120s);
    CHECK(run->err().find("ledger") == std::string::npos);
  }
  const auto told = rig.history({"--rehearsals"});
  CHECK(lines_with(told.out, "LV3-017-0001") == 4);
  CHECK(told.out.find("note:") == std::string::npos);
}

TEST_CASE("a ledger elsewhere is named by the environment, and says which folder a run lies in") {
  HistoryRig rig;
  const auto elsewhere = "sqlite3://db=" + rig.file("all benches.db");
  setenv("TRACKROD_LEDGER", elsewhere.c_str(), 1);
  const auto run = rig.rehearse("20 ms");
  const auto told = rig.history({"--rehearsals"});
  unsetenv("TRACKROD_LEDGER");
  CAPTURE(rig.told_by_run, told.out, told.err);
  CHECK(told.out.find(name_of(run)) != std::string::npos);
  CHECK_FALSE(std::filesystem::exists(rig.ledger()));
  const auto given =
      Json::parse(rig.told({"--json", "history", rig.file("runs"), "--rehearsals", "--ledger", elsewhere}).out);
  const auto place = given["runs"][0]["place"].get<std::string>();
  CHECK(place.substr(place.find(':') + 1) == rig.file("runs"));
}

}  // namespace
}  // namespace trackrod::test
