// The shipped search for the lowest voltage survived, against the truth of the simulated unit.

#include <cmath>

#include "tests/catch.hpp"
#include "tests/system/demo_rig.hpp"

namespace trackrod::test {

// The unit is off as soon as the voltage at its connector is below its brown-out voltage. A dip that it bears is lower
// at the connector than set, by what the unit draws through the supply's resistance; one in which it stops is as low as
// set, for it then draws nothing. Both outcomes are therefore measured over as much as that drop, above the brown-out.
TEST_CASE("a search finds the voltage below which the simulated unit stops") {
  const auto truth =
      nlohmann::json::parse(slurp(DemoRig::source("fixtures/demo_bench/truth.json")), nullptr, true, true);
  const auto in_truth = [&](const char* part, const char* name) {
    return std::stod(truth.at(part).at(name).get<std::string>());
  };
  const double drop = in_truth("power", "idle_current") * in_truth("supply", "resistance");
  const double brown_out = GENERATE_COPY(in_truth("power", "brown_out"), 5.83, 7.41);
  CAPTURE(brown_out, drop);

  DemoRig rig;
  const auto program = rig.rehearse_plan(DemoRig::source("plans/lowest-voltage.json"),
                                         {"--truth-set", "power.brown_out=" + std::to_string(brown_out) + " V"});
  const int status = program->wait(240s);
  INFO(program->err());
  REQUIRE((status == 0 || status == 1 || status == 4));
  const auto found = findings_named(nlohmann::json::parse(program->out()), "supply.lowest_survived");
  REQUIRE(found.size() == 1);
  INFO(found[0].reason);
  REQUIRE(found[0].value);
  CAPTURE(*found[0].value, found[0].low, found[0].high);
  CHECK(found[0].low <= brown_out + drop);
  CHECK(found[0].high >= brown_out);
  CHECK(found[0].high - found[0].low < 0.1);
}

}  // namespace trackrod::test
