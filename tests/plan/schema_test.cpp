// The shipped schema, judged by an independent reader of JSON Schema (python3-jsonschema of Debian).

#include <cstdlib>

#include "tests/plan/demo.hpp"
#include "tests/plan/fields_of_text.hpp"
#include "tests/spoilt.hpp"

using namespace trackrod;
using namespace trackrod::test;

namespace {

// Reads each file named after the schema and prints "good" or "bad" for each.
const char* const judge = R"(
import json, re, sys
import jsonschema
def load(path):
    return json.loads(re.sub(r'(?m)(^|\s)//.*$', '', open(path).read()))
schema = load(sys.argv[1])
jsonschema.Draft7Validator.check_schema(schema)
validator = jsonschema.Draft7Validator(schema)
for path in open(sys.argv[2]).read().split():
    print('good' if validator.is_valid(load(path)) else 'bad')
)";

std::vector<std::string> judged(const std::vector<std::string>& texts) {
  const auto folder = std::filesystem::temp_directory_path() / ("trackrod-schema-" + std::to_string(std::rand()));
  std::filesystem::create_directories(folder);
  std::ofstream{folder / "judge.py"} << judge;
  std::ofstream list{folder / "list"};
  for (std::size_t i = 0; i < texts.size(); ++i) {
    const auto path = folder / (std::to_string(i) + ".json");
    std::ofstream{path} << texts[i];
    list << path.string() << "\n";
  }
  list.close();
  const auto schema = (source_dir / "docs/schema/plan.schema.json").string();
  const auto command = "/usr/bin/python3 " + (folder / "judge.py").string() + " " + schema + " " +
                       (folder / "list").string() + " > " + (folder / "out").string();
  REQUIRE(std::system(command.c_str()) == 0);
  std::ifstream in{folder / "out"};
  std::vector<std::string> verdicts;
  for (std::string word; in >> word;) verdicts.push_back(word);
  std::filesystem::remove_all(folder);
  REQUIRE(verdicts.size() == texts.size());
  return verdicts;
}

}  // namespace

TEST_CASE("the shipped schema of plans is the one that the program writes") {
  CHECK(slurp(source_dir / "docs/schema/plan.schema.json") == plan_schema(whole_catalogue()));
}

TEST_CASE("an independent reader of JSON Schema takes the shipped plans and refuses broken ones") {
  std::vector<std::string> texts, what, expected;
  for (const auto& name : shipped_plans()) {
    const auto text = slurp(source_dir / "plans" / name);
    texts.push_back(text);
    what.push_back(name);
    expected.push_back("good");
    for (const auto& f : to_spoil(FieldScanner{text}.fields)) {
      if (f.key == "$schema" || f.path.rfind("/variables/", 0) == 0 || f.path.rfind("/start/", 0) == 0 ||
          f.path.rfind("/control/", 0) == 0)
        continue;
      auto misspelt = text, retyped = text;
      misspelt.insert(f.key_at + 1, "x_");
      retyped.replace(f.value_at, f.end - f.value_at, "[{}, {}, {}]");
      texts.push_back(misspelt);
      what.push_back(name + ": misspelt " + f.path);
      texts.push_back(retyped);
      what.push_back(name + ": retyped " + f.path);
      expected.insert(expected.end(), 2, "bad");
    }
  }
  // Every stimulus and control element, every key of them.
  texts.push_back(
      R"({"plan": "all", "variables": {"n": 3, "f": "1 Hz"}, "grids": {"g": {"over": {"v": [{"name": "x", "t": "1 s"}]}, "take": "all", "without": [{"v": "x"}]}}, "steps": [
      {"do": "grid", "of": "g", "steps": [{"do": "hold", "name": "of.${v.name}", "for": "${v.t}"}]},
      {"do": "hold", "name": "a", "signal": "vehicle.speed", "at": "10 km/h", "slew": "1 m/s^2", "acceleration": "1 m/s^3", "jerk": "1 m/s^4", "for": "1 s"},
      {"do": "staircase", "signal": "vehicle.speed", "to": "20 km/h", "treads": "${n}", "tread_time": "1 s", "rise_rate": "1 m/s^2"},
      {"do": "sine", "signal": "vehicle.speed", "amplitude": "1 km/h", "frequency": "${f}", "cycles": 4, "fade_cycles": 1.5, "centre": "18 km/h"},
      {"do": "chirp", "signal": "vehicle.speed", "amplitude": "1 km/h", "from": "${f}", "to": "2 Hz", "for": "10 s", "law": "linear", "centre": "18 km/h"},
      {"do": "noise", "signal": "vehicle.speed", "deviation": "0.1 km/h", "bandwidth": "1 Hz", "for": "10 s", "seed": 7, "centre": "18 km/h"},
      {"do": "profile", "signal": "vehicle.speed", "points": [{"at": "10 s", "value": "20 km/h"}, {"at": "20 s", "value": "18 km/h"}]},
      {"do": "supply", "signal": "supply.voltage_cmd", "profile": "momentary drop, 12 V"},
      {"do": "inject", "fault": "sensor_a_feed_lost", "for": "1 s", "when": {"signal": "hand.angle", "at_least": "0 deg", "at_most": "5 deg", "within": "2 s"}},
      {"do": "seek", "value": "drop", "from": "1 ms", "to": "5 ms", "levels": 5, "tries": 8, "survived": {"signal": "hand.angle", "at_least": "-1 deg", "at_most": "1 deg"}, "watched": ["tried"],
       "steps": [{"do": "hold", "name": "tried", "for": "${drop}"}]},
      {"do": "road", "grip": 0.9, "steps": [{"do": "grip", "to": 0.3, "over": "1 s", "for": "1 s"}, {"do": "pulse", "length": "0.4 m", "force": "1 kN", "for": "1 s"},
                                            {"do": "pulse", "length": "0.4 m", "height": "20 mm", "for": "1 s"}]},
      {"do": "wait", "signal": "hand.angle", "at_least": "-1 deg", "at_most": "1 deg", "hold_for": "0.1 s", "within": "9 s"},
      {"do": "parallel", "tracks": [[{"do": "ramp", "signal": "vehicle.speed", "to": "0 km/h", "rate": "1 m/s^2", "for": "1 s"}],
                                    [{"do": "ramp", "signal": "road.load_cmd", "to": "10 N", "rate": "10 N/s"}]]},
      {"do": "repeat", "times": 2, "steps": [{"do": "hold", "for": "1 s"}]}]})");
  what.push_back("every element");
  expected.push_back("good");
  {
    const auto reading = read_plan(texts.back());
    INFO(reading.sentences());
    CHECK(reading.plan);
  }
  const auto verdicts = judged(texts);
  for (std::size_t i = 0; i < texts.size(); ++i) {
    CAPTURE(what[i]);
    CHECK(verdicts[i] == expected[i]);
  }
}
