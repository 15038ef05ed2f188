// The shipped campaign of faults at one of its three speeds, rehearsed against the unit as its truth file says it is,
// and with one thing wrong in it.

#include <map>
#include <regex>
#include <set>

#include "tests/catch.hpp"
#include "tests/system/demo_rig.hpp"

namespace trackrod::test {
namespace {

using Json = nlohmann::json;

constexpr std::size_t faults = 59;  // 51 of wires, 8 of messages

// At its speed in town alone.
std::string one_speed(std::string plan) {
  const auto without = [&](const std::string& what, const std::string& instead) {
    for (auto at = plan.find(what); at != std::string::npos; at = plan.find(what))
      plan.replace(at, what.size(), instead);
  };
  without(R"({"name": "slow", "speed": "15 km/h"}, )", "");
  without(R"(, {"name": "fast", "speed": "100 km/h"})", "");
  without(R"(["slow", "town", "fast"])", R"(["town"])");
  return plan;
}

// Names of findings with a limit, and the faults in whose cells they have a verdict.
using Cells = std::map<std::string, std::set<std::string>>;

struct CampaignRig : DemoRig {
  CampaignRig() {
    write("bench-faults.json", slurp(source("fixtures/demo_bench/bench-faults.json")));
    write("plan.json", one_speed(slurp(source("plans/fault-campaign.json"))));
  }
  int rehearse(const std::string& defect) {
    const auto program = start({"--json", "rehearse", file("plan.json"), "--bench", file("bench-faults.json"), "--runs",
                                file("runs"), "--truth-set", "defect=" + defect},
                               "rehearse");
    const int status = program->wait(240s);
    told = program->err();
    const auto findings = Json::parse(slurp(run_folder() + "/findings.json"));
    for (const auto& f : findings["findings"]) {
      if (f["limit"].is_null()) continue;
      const auto step = f["step"].get<std::string>();  // "cell.hand_a_open.town"
      const auto from = step.find('.') + 1;
      verdicts[f["verdict"]][f["name"]].insert(step.substr(from, step.rfind('.') - from));
    }
    return status;
  }
  std::string told;
  std::map<std::string, Cells> verdicts;
};

TEST_CASE("a unit that is as its truth file says passes in every cell of the campaign") {
  CampaignRig rig;
  const int status = rig.rehearse("none");
  CAPTURE(rig.told);
  CHECK(status == 0);
  REQUIRE(rig.verdicts.size() == 1);
  CHECK(rig.verdicts.contains("pass"));
  for (const auto* finding : {"faults", "departure", "warning_time", "missing_warnings", "wrong_warnings",
                              "lapsed_warnings", "lasting_warnings"})
    CHECK(rig.verdicts["pass"]["degraded." + std::string{finding}].size() == faults);
  CHECK(rig.verdicts["pass"]["degraded.false_warnings"].size() == faults + 1);
}

TEST_CASE("one thing that is wrong in the unit is found in the cells that it spoils, and nothing else is") {
  // By docs/simulated-bench.md. What fails, and what then is open, with the faults in whose cells (a regular
  // expression).
  using Where = std::map<std::string, std::string>;
  const std::string all = "(?!none).*", until_ignition = "(motor|winding|control)_.*", main_feed = "feed_main_.*";
  const auto [defect, failed, open] = GENERATE_COPY(table<std::string, Where, Where>({
      {"late_warning", {{"degraded.warning_time", all}}, {}},
      // One that is never told does not stay either.
      {"missing_warning",
       {{"degraded.missing_warnings", all}, {"degraded.lasting_warnings", until_ignition}},
       {{"degraded.warning_time", all}}},
      {"wrong_code", {{"degraded.wrong_warnings", all}}, {{"degraded.warning_time", all}}},
      {"false_warning", {{"degraded.false_warnings", "none"}}, {}},
      {"no_recovery", {{"degraded.lasting_warnings", "(?!none|motor|winding|control).*"}}, {}},
      {"too_much_motion", {{"degraded.departure", "(hand|road)_a_(?!resistance).*"}}, {}},
      {"wrong_changeover", {{"degraded.unhandled", main_feed}}, {}},
      {"brown_out_reset", {{"supply.changeover_lost", main_feed}, {"degraded.warning_time", main_feed}}, {}},
      {"half_unnoticed",
       {{"degraded.missing_warnings", "motor_2_.*"}, {"degraded.lasting_warnings", "motor_2_.*"}},
       {{"degraded.warning_time", "motor_2_.*"}}},
      {"warning_clears", {{"degraded.lapsed_warnings", all}, {"degraded.lasting_warnings", until_ignition}}, {}},
  }));
  CAPTURE(defect);
  CampaignRig rig;
  const int status = rig.rehearse(defect);
  CHECK(status == 1);
  auto every = rig.verdicts["pass"]["degraded.faults"];
  every.insert("none");
  const auto cells = [&](const Where& where) {
    Cells out;
    for (const auto& [finding, faults_there] : where)
      for (const auto& fault : every)
        if (std::regex_match(fault, std::regex{faults_there})) out[finding].insert(fault);
    return out;
  };
  CHECK(every.size() == faults + 1);
  CHECK(rig.verdicts["fail"] == cells(failed));
  CHECK(rig.verdicts["inconclusive"] == cells(open));
  CHECK(rig.verdicts["not run"].empty());
}

}  // namespace
}  // namespace trackrod::test
