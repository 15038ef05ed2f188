// The shipped campaign of faults at one of its three speeds, rehearsed against the unit as its truth file says it is,
// and with one thing wrong in it.

#include <set>

#include "tests/catch.hpp"
#include "tests/system/demo_rig.hpp"

namespace trackrod::test {
namespace {

using Json = nlohmann::json;

constexpr int faults = 59;  // 51 of wires, 8 of messages

struct CampaignRig : DemoRig {
  CampaignRig() {
    write("bench-faults.json", slurp(source("fixtures/demo_bench/bench-faults.json")));
    auto plan = replaced(slurp(source("plans/fault-campaign.json")), R"({"name": "slow", "speed": "15 km/h"}, )", "");
    write("plan.json", replaced(plan, R"(, {"name": "fast", "speed": "100 km/h"})", ""));
  }
  int rehearse(const std::string& defect) {
    const auto program = start({"--json", "rehearse", file("plan.json"), "--bench", file("bench-faults.json"), "--runs",
                                file("runs"), "--truth-set", "defect=" + defect},
                               "rehearse");
    const int status = program->wait(240s);
    told = program->err();
    findings = Json::parse(slurp(run_folder() + "/findings.json"));
    return status;
  }
  // Names of the findings with a limit and that verdict; `count` of them.
  std::set<std::string> with(const std::string& verdict) {
    std::set<std::string> names;
    count = 0;
    for (const auto& f : findings["findings"]) {
      if (f["limit"].is_null() || f["verdict"] != verdict) continue;
      names.insert(f["name"]);
      ++count;
    }
    return names;
  }
  std::string told;
  Json findings;
  int count{0};
};

using Names = std::set<std::string>;

TEST_CASE("a unit that is as its truth file says passes in every cell of the campaign") {
  CampaignRig rig;
  const int status = rig.rehearse("none");
  CAPTURE(rig.told);
  CHECK(status == 0);
  CHECK(rig.with("pass").size() == 7);
  CHECK(rig.count == 7 * faults);
}

TEST_CASE("one thing that is wrong in the unit is found in the cells that it spoils, and nothing else is") {
  const auto [defect, failed, unknown] = GENERATE(table<std::string, Names, Names>({
      {"late_warning", {"degraded.warning_time"}, {}},
      {"missing_warning", {"degraded.missing_warnings"}, {"degraded.warning_time"}},
      {"wrong_code", {"degraded.wrong_warnings"}, {"degraded.warning_time"}},
  }));
  CAPTURE(defect);
  CampaignRig rig;
  const int status = rig.rehearse(defect);
  CHECK(status == 1);
  CHECK(rig.with("fail") == failed);
  CHECK(rig.count == faults);
  CHECK(rig.with("inconclusive") == unknown);
  CHECK(rig.with("not run").empty());
}

}  // namespace
}  // namespace trackrod::test
