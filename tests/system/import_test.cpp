// Recordings made elsewhere, through the program: the example of docs/import.md, what is refused, and what is missing.

#include <fstream>

#include "tests/catch.hpp"
#include "tests/system/demo_rig.hpp"

namespace trackrod::test {
namespace {

using Json = nlohmann::json;
namespace fs = std::filesystem;

struct Outcome {
  int status;
  std::string out, err;
};

class Desk : public DemoRig {
 public:
  Outcome call(const std::vector<std::string>& words) const {
    const auto program = start(words, "program");
    const int status = program->wait(60s);
    return {status, program->out(), program->err()};
  }
  static std::string shipped(const std::string& name) { return source("fixtures/recording/" + name); }
  std::vector<std::string> scoring(const std::string& what, const std::string& plan) const {
    return {"--json", "score", what, "--plan", plan, "--runs", file("runs"), "--in", "hand.angle"};
  }
};

std::vector<std::string> operator+(std::vector<std::string> a, const std::vector<std::string>& b) {
  a.insert(a.end(), b.begin(), b.end());
  return a;
}

Json finding(const Json& findings, const std::string& name, const std::string& step) {
  for (const auto& f : findings.at("findings"))
    if (f.at("name") == name && f.at("step") == step) return f;
  FAIL("no finding " << name << " of " << step);
  return {};
}

TEST_CASE("the example of the documentation: a logger's file is imported, its steps found, and the plan's limits met") {
  const Desk desk;
  const auto plan = Desk::shipped("plan.json");
  const auto scored = desk.call(desk.scoring(Desk::shipped("drive.csv"), plan) +
                                std::vector<std::string>{"--as", Desk::shipped("logger.json"), "--find", "steps",
                                                         "--name", "plan", "--find", "sweeps", "--name", "plan"});
  CAPTURE(scored.err);
  REQUIRE(scored.status == 0);
  const auto findings = Json::parse(scored.out);
  // The unit in the recording is the demo's simulated one, which fixtures/demo_bench/truth.json gives 12 ms.
  const auto dead = finding(findings, "delay.dead_time", "weave");
  CHECK(dead.at("verdict") == "pass");
  CHECK(dead.at("interval")[0].get<double>() < 12.0);
  CHECK(dead.at("interval")[1].get<double>() > 12.0);
  CHECK(finding(findings, "step.delay_50", "left").at("verdict") == "pass");
  CHECK(finding(findings, "step.delay_50", "right").at("conditions").at("vehicle.speed") == "10 km/h");

  const auto run = desk.run_folder();
  const auto record = Json::parse(slurp(run + "/run.json"));
  CHECK(record.at("imported").at("file") == Desk::shipped("drive.csv"));
  CHECK(record.at("imported").at("bytes") == fs::file_size(Desk::shipped("drive.csv")));
  CHECK(record.at("safe_state_reached").is_null());
  CHECK(record.at("notes")[0].get<std::string>().find("cells said \"no value\"") != std::string::npos);
  CHECK(slurp(run + "/import.json") == slurp(Desk::shipped("logger.json")));
  CHECK(slurp(run + "/plan.json") == slurp(plan));
  CHECK(Json::parse(slurp(run + "/spans.json")).at("spans").size() == 9);
  const auto report = slurp(run + "/report.html");
  CHECK(report.find("The recording was made elsewhere and imported from") != std::string::npos);
  CHECK(report.find("2026-11-20T") != std::string::npos);

  SECTION("it is reported and archived again as any run") {
    fs::remove(run + "/report.html");
    CHECK(desk.call({"report", run}).status == 0);
    CHECK(slurp(run + "/report.html") == report);
    fs::remove(run + "/capture.h5");
    CHECK(desk.call({"archive", run}).status == 0);
    CHECK(fs::exists(run + "/capture.h5"));
  }
  SECTION("it is scored again with what stands in the folder, and the first scoring stays") {
    const auto first = slurp(run + "/findings.json");
    const auto again = desk.call({"--json", "score", run});
    CHECK(again.status == 0);
    CHECK(again.out == scored.out);
    CHECK(slurp(run + "/findings.json") == first);
    CHECK(slurp(run + "/scores/002/findings.json") == first);
    CHECK(fs::exists(run + "/scores/002/report.html"));
  }
  SECTION("spans that were edited by hand take the place of what was found") {
    auto spans = Json::parse(slurp(run + "/spans.json"));
    spans.at("spans").erase(1);  // the first "left"
    std::ofstream{desk.file("spans.json")} << spans.dump();
    const auto edited = desk.call({"--json", "score", run, "--spans", desk.file("spans.json")});
    CHECK(edited.status == 0);
    CHECK(finding(Json::parse(edited.out), "step.delay_50", "left").at("conditions").at("cycles") == "2");
  }
  SECTION("no skew for a bench comes from it") {
    const auto refused = desk.call({"calibrate", "--skew", "road.angle", "hand.angle", "--from", run, "--bench",
                                    desk.bench(), "--into", desk.bench()});
    CHECK(refused.status == 2);
    CHECK(refused.err.find("holds a recording made elsewhere") != std::string::npos);
  }
}

TEST_CASE("an import without a plan waits for one") {
  const Desk desk;
  const auto imported = desk.call({"--json", "import", Desk::shipped("drive.csv"), "--as", Desk::shipped("logger.json"),
                                   "--into", desk.file("drive"), "--find", "holds", "--in", "road.angle"});
  CAPTURE(imported.err);
  REQUIRE(imported.status == 0);
  CHECK(Json::parse(imported.out).at("run") == desk.file("drive"));
  CHECK(imported.err.find("holds in 'road.angle': ") != std::string::npos);
  CHECK(fs::exists(desk.file("drive/capture.h5")));
  CHECK(fs::exists(desk.file("drive/spans.json")));
  for (const auto* command : {"score", "report"}) {
    const auto refused = desk.call({command, desk.file("drive")});
    CHECK(refused.status == 2);
    CHECK(refused.err.find("holds a recording without criteria; name a plan") != std::string::npos);
  }
}

TEST_CASE("criteria without their signals or steps are not run, say why, and the status is 4") {
  const Desk desk;
  const auto only_hand =
      R"({"import": "one", "kind": "csv", "separator": "semicolon", "decimal": "comma", "lines_above": 2,
    "time": {"column": 1, "form": "iso8601"}, "signals": {"hand.angle": {"column": 2, "unit": "deg"}}})";
  std::ofstream{desk.file("one.json")} << only_hand;
  const auto lacking =
      desk.call(desk.scoring(Desk::shipped("drive.csv"), Desk::shipped("plan.json")) +
                std::vector<std::string>{"--as", desk.file("one.json"), "--find", "sweeps", "--name", "weave"});
  CHECK(lacking.status == 4);
  const auto findings = Json::parse(lacking.out);
  CHECK(finding(findings, "delay.dead_time", "weave").at("verdict") == "not run");
  CHECK(finding(findings, "delay.dead_time", "weave").at("reason") == "the recording has no signal 'road.angle'");
  CHECK(finding(findings, "delay.dead_time", "weave").at("conditions").at("vehicle.speed") == "not recorded");

  const auto unnamed = desk.call(desk.scoring(Desk::shipped("drive.csv"), Desk::shipped("plan.json")) +
                                 std::vector<std::string>{"--as", Desk::shipped("logger.json"), "--find", "sweeps"});
  CHECK(unnamed.status == 4);
  CHECK(finding(Json::parse(unnamed.out), "delay.dead_time", "weave").at("reason") ==
        "no span of the recording is named 'weave'");
  CHECK(unnamed.err.find("it has 'sweep-1'") != std::string::npos);
}

TEST_CASE("what cannot be read or does not fit is refused, and nothing is written") {
  const Desk desk;
  const auto broken = [&](const std::string& from, const std::string& to) {
    auto text = slurp(Desk::shipped("drive.csv"));
    text.replace(text.find(from), from.size(), to);
    std::ofstream{desk.file("broken.csv"), std::ios::binary} << text;
    return desk.file("broken.csv");
  };
  struct Case {
    std::vector<std::string> words;
    std::string sentence;
  };
  const auto csv = Desk::shipped("drive.csv"), as = Desk::shipped("logger.json"), plan = Desk::shipped("plan.json");
  std::ofstream{desk.file("bad.json")} << R"({"import": "x", "kind": "csv", "time": {}})";
  for (const auto& c : std::vector<Case>{
           {{"import", desk.file("none.csv"), "--as", as}, "cannot read '" + desk.file("none.csv") + "'"},
           {{"import", desk.file(""), "--as", as}, "is a folder, not a file"},
           {{"import", csv, "--as", desk.file("none.json")}, "cannot read '" + desk.file("none.json") + "'"},
           {{"import", csv, "--as", desk.file("bad.json")}, "the key 'signals' is missing"},
           {{"import", broken("14:03:12.004+01:00;", "14:03:11.004+01:00;"), "--as", as},
            "line 5: the time goes back by 0.996 s"},
           {{"import", csv, "--as", as, "--into", desk.file("bench.json")}, "is there already"},
           {{"score", csv, "--plan", plan}, "is a file; how to read it says a description: --as"},
           {{"score", csv, "--as", as}, "a recording has no criteria of its own"},
           {{"score", csv, "--as", as, "--plan", desk.file("none.json")},
            "cannot read '" + desk.file("none.json") + "'"},
       }) {
    CAPTURE(c.words);
    const auto refused = desk.call(c.words + std::vector<std::string>{"--runs", desk.file("runs")});
    CAPTURE(refused.err);
    CHECK(refused.status == 2);
    CHECK(refused.err.find(c.sentence) != std::string::npos);
    CHECK_FALSE(fs::exists(desk.file("runs")));
  }
}

TEST_CASE("options that do not fit an imported recording are refused with what is allowed") {
  const Desk desk;
  REQUIRE(desk.call({"import", Desk::shipped("drive.csv"), "--as", Desk::shipped("logger.json"), "--into",
                     desk.file("drive")})
              .status == 0);
  const auto plan = Desk::shipped("plan.json");
  std::ofstream{desk.file("spans.json")} << R"({"spans": [{"step": "left", "from": "2 s", "to": "1 s"}]})";
  struct Case {
    std::vector<std::string> words;
    std::string sentence;
  };
  for (const auto& c : std::vector<Case>{
           {{"--find", "jumps", "--in", "hand.angle"}, "--find 'jumps'; allowed: 'steps', 'sweeps' or 'holds'"},
           {{"--find", "steps"}, "--find needs the signal to look in: --in SIGNAL; allowed: 'hand.angle'"},
           {{"--find", "steps", "--in", "hand"}, "--in 'hand': the recording has no such signal"},
           {{"--in", "hand.angle"}, "go with --find"},
           {{"--from", "1 s"}, "go with --find"},
           {{"--find", "steps", "--in", "hand.angle", "--from", "soon"},
            "--from: found \"soon\"; allowed: a time in s"},
           {{"--find", "steps", "--in", "hand.angle", "--from", "5 s", "--to", "3 s"},
            "--from '5 s' is not before --to"},
           {{"--find", "steps", "--in", "hand.angle", "--from", "1 h"}, "it lasts from 0 s to"},
           {{"--find", "steps", "--in", "hand.angle", "--least", "2 deg"}, "--least"},
           {{"--find", "steps", "--in", "hand.angle", "--tolerance", "2 V"}, "--tolerance"},
           {{"--find", "steps", "--in", "hand.angle", "--name", "a", "--name", "b"}, "more --name than --find"},
           {{"--find", "holds", "--in", "hand.angle", "--name", "plan"}, "is for steps and sweeps"},
           {{"--find", "steps", "--in", "hand.angle", "--name", "plan", "--least", "2 s"}, "the plan runs 8 steps"},
           {{"--spans", desk.file("spans.json")}, "ends at 1 s and begins at 2 s"},
       }) {
    CAPTURE(c.words);
    const auto refused = desk.call(std::vector<std::string>{"score", desk.file("drive"), "--plan", plan} + c.words);
    CAPTURE(refused.err);
    CHECK(refused.status == 2);
    CHECK(refused.err.find(c.sentence) != std::string::npos);
    CHECK_FALSE(fs::exists(desk.file("drive/findings.json")));
  }
}

TEST_CASE("a run of the bench itself takes no other plan") {
  const Desk desk;
  const auto rehearsal = desk.rehearse_plan(Desk::shipped("plan.json"));
  REQUIRE(rehearsal->wait(60s) == 0);
  const auto refused = desk.call({"score", desk.run_folder(), "--plan", Desk::shipped("plan.json")});
  CHECK(refused.status == 2);
  CHECK(refused.err.find("is a run, which has a plan and steps of its own") != std::string::npos);
}

}  // namespace
}  // namespace trackrod::test
