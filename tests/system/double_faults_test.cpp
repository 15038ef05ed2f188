// The shipped plans of changeovers and of two faults at a time: the healthy unit passes, and a seeded defect of it is
// found where the truth file's page says that it shows.

#include <nlohmann/json.hpp>

#include "tests/catch.hpp"
#include "tests/system/shift_rig.hpp"

using namespace trackrod::test;

namespace {

// Exit status and findings of a rehearsal on the bench for faults.
struct Rehearsed {
  ShiftRig rig;
  int status{-1};
  nlohmann::json findings;

  Rehearsed(const std::string& plan, const std::string& defect) {
    const auto program =
        rig.rehearse_plan(DemoRig::source("plans/" + plan), {"--truth-set", "defect=" + defect, "--seed", "7"});
    status = program->wait(300s);
    INFO(program->err());
    REQUIRE(program->out().rfind("{", 0) == 0);
    findings = nlohmann::json::parse(program->out()).at("findings");
  }
  // Names of the findings that fail, each once.
  std::vector<std::string> failing() const {
    std::vector<std::string> names;
    for (const auto& f : findings)
      if (f.at("verdict") == "fail" && std::find(names.begin(), names.end(), f.at("name")) == names.end())
        names.push_back(f.at("name"));
    return names;
  }
};

}  // namespace

TEST_CASE("a changeover passes, and one that is wrong or lets the unit go fails") {
  const Rehearsed healthy{"changeover.json", "none"};
  CHECK(healthy.status == 0);
  const Rehearsed wrong{"changeover.json", "wrong_changeover"};
  CHECK(wrong.status == 1);
  CHECK(wrong.failing() == std::vector<std::string>{"degraded.unhandled"});
  const Rehearsed reset{"changeover.json", "brown_out_reset"};
  CHECK(reset.status == 1);
  const auto failing = reset.failing();
  CHECK(std::find(failing.begin(), failing.end(), "supply.changeover_lost") != failing.end());
}

TEST_CASE("two faults at a time: each is told of, and a unit that tells of none fails") {
  const Rehearsed healthy{"double-faults.json", "none"};
  CHECK(healthy.status == 0);
  const Rehearsed silent{"double-faults.json", "missing_warning"};
  CHECK(silent.status == 1);
  CHECK(silent.failing() == std::vector<std::string>{"degraded.missing_warnings"});
  const Rehearsed wrong{"double-faults.json", "wrong_code"};
  CHECK(wrong.status == 1);
  CHECK(wrong.failing() == std::vector<std::string>{"degraded.wrong_warnings"});
}
