// Truth files: what is read, and what is said about a wrong one.

#include "fixtures/plant/truth.hpp"

#include <fstream>
#include <iterator>
#include <nlohmann/json.hpp>

#include "tests/catch.hpp"

using namespace trackrod;
using namespace std::chrono_literals;

namespace {

std::string slurp(const std::string& path) {
  std::ifstream file{TRACKROD_SOURCE_DIR "/" + path};
  return {std::istreambuf_iterator<char>{file}, {}};
}

std::string first_sentence(const Problems& problems) {
  return problems.none() ? "" : problems.sorted().front().sentence();
}

}  // namespace

TEST_CASE("the shipped truth file reads without a problem and names every parameter, as do the docs") {
  Problems problems;
  const auto text = slurp("fixtures/demo_bench/truth.json");
  REQUIRE(!text.empty());
  const auto truth = parse_truth(text, "truth.json", {}, problems);
  INFO(first_sentence(problems));
  REQUIRE(truth);
  CHECK(*truth == Truth{});  // the defaults that the docs list are those of the demo
  const auto docs = slurp("docs/simulated-bench.md");
  const auto root = parse_json(text, "truth.json", problems);
  const auto schema = nlohmann::json::parse(truth_schema());
  for (const auto& [group, definition] : schema.at("definitions").items()) {
    if (group == "truth") continue;
    for (const auto& [key, shape] : definition.at("properties").items()) {
      if (key == "$schema") continue;
      INFO(group << '.' << key);
      REQUIRE(root->find(group) != nullptr);
      CHECK(root->find(group)->find(key) != nullptr);
      CHECK_THAT(docs, Catch::Contains("`" + group + "." + key + "`"));
    }
  }
  for (const auto& [key, shape] : schema.at("definitions").at("truth").at("properties").items())
    CHECK((key == "$schema" || root->find(key) != nullptr));
  for (const auto& name : schema.at("definitions").at("truth").at("properties").at("defect").at("enum"))
    CHECK_THAT(docs, Catch::Contains("| `" + name.get<std::string>() + "` |"));
}

TEST_CASE("the shipped schema of truth files is the one that the field tables give") {
  CHECK(nlohmann::json::parse(slurp("docs/schema/truth.schema.json")) == nlohmann::json::parse(truth_schema()));
}

TEST_CASE("an assignment by dotted path changes one value, in any unit of the right kind") {
  Problems problems;
  const auto truth = parse_truth("{}", "t.json",
                                 {{"road.dead_time", "0.06 s"},
                                  {"drive.command_timeout", "never"},
                                  {"ratio.standstill", "9.5"},
                                  {"road.natural_frequency", "600 deg/s"}},
                                 problems);
  INFO(first_sentence(problems));
  REQUIRE(truth);
  CHECK(truth->road.dead_time == 60ms);
  CHECK(truth->drive.command_timeout == never);
  CHECK(truth->ratio.standstill == 9.5);
  CHECK(truth->road.natural_frequency == Approx(10.471976));
  CHECK(truth->road.play == RoadTruth{}.play);
}

TEST_CASE("a wrong truth file is refused with place, reason and the nearest name") {
  struct Case {
    std::string text;
    std::string says;
  };
  const std::vector<Case> cases{
      {R"({"road": {"dead_tme": "12 ms"}})", "did you mean 'dead_time'?"},
      {R"({"raod": {}})", "did you mean 'road'?"},
      {R"({"road": {"dead_time": "12 deg"}})", "t.json:1:24: /road/dead_time"},
      {R"({"road": {"dead_time": 12}})", "a number and a unit"},
      {R"({"road": {"mass": "-1 kg"}})", "/road/mass"},
      {R"({"drive": {"command_timeout": "nevr"}})", "/drive/command_timeout"},
      {R"({"power": {"nominal": "6 V"}})", "more than the brown-out voltage"},
      {R"({"power": {"restart": "2 V"}})", "at least the brown-out voltage"},
      {R"({"feeds": {"good": "5 V"}})", "at least the low one"},
      {R"({"monitor": {"coarse": "5 deg"}})", "less than the difference"},
      {R"({"road_monitor": {"coarse": "1 deg"}})", "less than the difference"},
      {R"({"heartbeat": {"confirm": 4}})", "fewer than those of the current"},
      {R"({"defect": "late_warnng"})", "did you mean 'late_warning'?"},
      {R"({"road": 5})", "an object"},
      {R"([])", "an object"},
      {R"({"road": {"play": "0 deg", "play": "1 deg"}})", "second time"},
      {R"({"road": )", "JSON"},
  };
  for (const auto& c : cases) {
    Problems problems;
    INFO(c.text);
    CHECK(parse_truth(c.text, "t.json", {}, problems) == nullptr);
    CHECK_THAT(first_sentence(problems), Catch::Contains(c.says));
  }
}

TEST_CASE("a wrong assignment is refused and named") {
  const std::vector<std::pair<std::string, std::string>> wrong{
      {"road.ded_time", "60 ms"}, {"dead_time", "60 ms"},     {"road", "60 ms"},          {"road.dead_time.x", "60 ms"},
      {"road.dead_time", "60"},   {"road.dead_time", "60 V"}, {"road..dead_time", "1 s"}, {"", "60 ms"}};
  for (const auto& assignment : wrong) {
    Problems problems;
    INFO(assignment.first << " = " << assignment.second);
    CHECK(parse_truth("{}", "t.json", {assignment}, problems) == nullptr);
    CHECK_THAT(first_sentence(problems), Catch::Contains("--set " + assignment.first));
  }
}
