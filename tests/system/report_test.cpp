// `trackrod report`: the sign-off matrix of a small campaign, of two faults at two speeds, over one run and several.

#include "tests/catch.hpp"
#include "tests/report/judges.hpp"
#include "tests/system/demo_rig.hpp"

namespace trackrod::test {
namespace {

using Json = nlohmann::json;

struct SmallCampaign : DemoRig {
  SmallCampaign() {
    write("bench-faults.json", slurp(source("fixtures/demo_bench/bench-faults.json")));
    write("plan.json", slurp(source("tests/system/small_campaign.json")));
  }
  // The folder of the run.
  std::string rehearse(const std::string& defect) {
    const auto runs = file("runs-" + std::to_string(made_++));
    const auto program = start({"rehearse", file("plan.json"), "--bench", file("bench-faults.json"), "--runs", runs,
                                "--truth-set", "defect=" + defect},
                               "rehearse");
    program->wait(240s);
    told = program->out() + program->err();
    return newest_run(runs);
  }
  int report(std::vector<std::string> arguments) {
    arguments.insert(arguments.begin(), {"--json", "report"});
    const auto program = start(arguments, "report");
    const int status = program->wait(120s);
    told = program->err();
    given = program->out();
    return status;
  }
  // "fault point state verdict attempt attempts", by Python's csv, in order.
  static std::string cells(const std::string& run) {
    return judges::python(R"py(
import csv, sys
for r in csv.DictReader(open(sys.argv[1], newline='')):
    print(r['fault'], r['operating_point'], r['state'], r['verdict'], r['attempt'], r['attempts'])
)py",
                          slurp(run + "/matrix.csv"))
        .said;
  }
  std::string waiver(const std::string& fault) const {
    return R"({"fault": ")" + fault +
           R"(", "points": ["town", "fast"], "reason": "late lamp", "by": "N. N.", "date": "2026-01-01", "expires": "2026-12-31"})";
  }
  std::string told, given;

 private:
  int made_{0};
};

std::string each(const std::string& words) {
  return "hand_a_open town " + words + "\nhand_a_open fast " + words + "\nmotor_1_open town " + words +
         "\nmotor_1_open fast " + words + "\n";
}

TEST_CASE("a run of a campaign leaves its matrix as page, CSV and JUnit XML; report makes the same again") {
  SmallCampaign rig;
  const auto run = rig.rehearse("none");
  CAPTURE(run, rig.told);
  CHECK(rig.told.find("matrix 'campaign': 4 of 4 cells run: 4 pass") != std::string::npos);
  CHECK(rig.told.find("not for sign-off: Run ") != std::string::npos);
  CHECK(SmallCampaign::cells(run) == each("pass pass 1 1"));
  CHECK(judges::xml(slurp(run + "/matrix.xml")).good);
  const auto page = slurp(run + "/report.html"), csv = slurp(run + "/matrix.csv"), xml = slurp(run + "/matrix.xml");
  CHECK(judges::html(page).good);
  CHECK(rig.report({run}) == 0);
  CAPTURE(rig.told);
  CHECK(slurp(run + "/report.html") == page);
  CHECK(slurp(run + "/matrix.csv") == csv);
  CHECK(slurp(run + "/matrix.xml") == xml);
  const auto given = Json::parse(rig.given);
  CHECK(given["matrices"][0]["pass"] == 4);
  CHECK(given["matrices"][0]["expected_false_accepts"].get<double>() < 0.1);
  CHECK(given["csv"] == run + "/matrix.csv");
}

TEST_CASE("attempts of several runs stay, and only a reason sets a fail aside") {
  SmallCampaign rig;
  const auto bad = rig.rehearse("late_warning"), good = rig.rehearse("none");
  const auto id = std::filesystem::path{good}.filename().string();
  CHECK(rig.report({bad}) == 1);
  CHECK(SmallCampaign::cells(bad) == each("fail fail 1 1"));

  CHECK(rig.report({good, bad}) == 1);  // the order is that of time
  CAPTURE(rig.told);
  CHECK(SmallCampaign::cells(good) == each("fail fail 1 2"));
  CHECK(rig.told.find("Nobody said why run " + id) != std::string::npos);

  rig.write("sign-off.json", R"({"repeats": [{"run": ")" + id +
                                 R"(", "reason": "unit repaired", "by": "N. N.", "date": "2026-01-01"}]})");
  CHECK(rig.report({bad, good, "--sign-off", rig.file("sign-off.json")}) == 0);
  CHECK(SmallCampaign::cells(good) == each("pass pass 2 2"));
  CHECK(slurp(good + "/report.html").find("Set aside: repeated for unit repaired, N. N., 2026-01-01") !=
        std::string::npos);
}

TEST_CASE("waivers cover fails until they expire, and a file with a mistake writes nothing") {
  SmallCampaign rig;
  const auto run = rig.rehearse("late_warning");
  const auto with = [&](const std::string& waivers, const std::string& day) {
    rig.write("sign-off.json", R"({"waivers": [)" + waivers + "]}");
    return rig.report({run, "--sign-off", rig.file("sign-off.json"), "--on", day});
  };
  CHECK(with(rig.waiver("hand_a_open"), "2026-06-01") == 1);
  const auto both = rig.waiver("hand_a_open") + ", " + rig.waiver("motor_1_open");
  CHECK(with(both, "2026-06-01") == 4);
  CHECK(SmallCampaign::cells(run) == each("waived fail 1 1"));
  CHECK(with(both, "2027-01-01") == 1);
  CHECK(rig.told.find("The waiver of hand_a_open at town, fast is expired on 2026-12-31.") != std::string::npos);

  const auto before = slurp(run + "/matrix.csv");
  CHECK(with(rig.waiver("hand_a_opne"), "2026-06-01") == 2);
  CHECK(rig.told.find("did you mean 'hand_a_open'?") != std::string::npos);
  CHECK(with(both, "1 June") == 2);
  CHECK(slurp(run + "/matrix.csv") == before);
}

TEST_CASE("one run twice, and runs of different plans, make no common matrix") {
  SmallCampaign rig;
  const auto one = rig.rehearse("none");
  CHECK(rig.report({one, one}) == 2);
  CHECK(rig.told.find("they are one and the same") != std::string::npos);
  rig.write("plan.json", replaced(slurp(rig.file("plan.json")), "150 ms", "160 ms"));
  const auto other = rig.rehearse("none");
  CHECK(rig.report({one, other}) == 2);
  CHECK(rig.told.find("their plans differ") != std::string::npos);
}

}  // namespace
}  // namespace trackrod::test
