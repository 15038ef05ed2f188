// The shipped search for the longest drop-out survived, against trying every length in turn.

#include <cmath>

#include "tests/catch.hpp"
#include "tests/system/demo_rig.hpp"

namespace trackrod::test {
namespace {

// What rehearsing a plan finds, the simulated unit stopping below `brown_out`.
Read ridden_through(const std::string& plan_text, const std::string& brown_out) {
  DemoRig rig;
  rig.write("plan.json", plan_text);
  const auto program = rig.rehearse_plan(rig.file("plan.json"), {"--truth-set", "power.brown_out=" + brown_out});
  const int status = program->wait(240s);
  INFO(program->err());
  REQUIRE((status == 0 || status == 1 || status == 4));
  const auto found = findings_named(nlohmann::json::parse(program->out()), "supply.ridden_through");
  REQUIRE(found.size() == 1);
  INFO(found[0].reason);
  REQUIRE(found[0].value);
  return found[0];
}

}  // namespace

TEST_CASE("a search finds the longest drop-out survived that trying every length in turn finds") {
  const auto brown_out = GENERATE(as<std::string>{}, "6.5 V", "8 V");
  CAPTURE(brown_out);
  const auto search = slurp(DemoRig::source("plans/hold-up.json"));
  // Every second length of the search's 128, in their order, from the same levels.
  auto scan = replaced(
      search,
      R"({"do": "seek", "name": "longest_drop", "value": "drop", "from": "20 ms", "to": "147 ms", "levels": 128, "tries": 24,
     "survived": {"signal": "unit.state", "at_least": "2"}, "watched": ["drop", "after"],)",
      R"({"do": "grid", "of": "lengths",)");
  std::string lengths, drops;
  for (int length = 20; length <= 147; length += 2) {
    const auto number = std::to_string(length);
    lengths += (lengths.empty() ? "" : ", ") + ("{\"name\": \"of_" + number + "\", \"drop\": \"" + number + " ms\"}");
    drops += (drops.empty() ? "" : ", ") + ("\"drop.of_" + number + "\", \"after.of_" + number + "\"");
  }
  scan = replaced(scan, R"("variables": {)",
                  "\"grids\": {\"lengths\": {\"over\": {\"length\": [" + lengths + "]}}}, \"variables\": {");
  scan = replaced(scan, "\"for\": \"${drop}\"", "\"for\": \"${length.drop}\"");
  for (const auto* step : {"charged", "works", "drop", "after"})
    scan = replaced(scan, "\"name\": \"" + std::string{step} + "\"",
                    "\"name\": \"" + std::string{step} + ".${length.name}\"");
  scan = replaced(scan, R"("steps": ["drop", "after"])", "\"steps\": [" + drops + "]");

  const auto sought = ridden_through(search, brown_out), scanned = ridden_through(scan, brown_out);
  CAPTURE(*sought.value, sought.low, sought.high, *scanned.value, scanned.low, scanned.high);
  CHECK(sought.low <= scanned.high);
  CHECK(scanned.low <= sought.high);
  // The voltage is read every 20 ms, which makes both intervals as wide as they are; the lengths tried are not that far
  // off.
  CHECK(*sought.value == Approx(*scanned.value).margin(5.0));
}

}  // namespace trackrod::test
