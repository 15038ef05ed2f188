// A seek in the loop: the engine watches the sign of life and takes the next value by it.

#include <cmath>

#include "tests/catch.hpp"
// clang-format off: the rig uses the test library
#include "tests/engine/fake_rig.hpp"
// clang-format on

using namespace trackrod;
using namespace trackrod::test;
using namespace std::chrono_literals;

TEST_CASE("a seek finds the greatest value that is survived, by what the bench shows while it is watched") {
  FakeRig rig;
  // What follows the command shows it; more than 23.5 deg of it is not survived, were it for a single tick.
  rig.run(
      R"([{"do": "seek", "value": "far", "from": "1 deg", "to": "64 deg", "levels": 64, "tries": 16, "watched": ["out"],
               "survived": {"signal": "angle", "at_most": "23.5 deg"}, "steps": [
                 {"do": "step", "name": "out", "signal": "angle_cmd", "to": "${far}", "for": "5 ms"},
                 {"do": "step", "name": "home", "signal": "angle_cmd", "to": "0 deg", "for": "50 ms"}]}])");
  REQUIRE_FALSE(rig.outcome.tripped);
  const auto started = rig.records.of(EventKind::step_started), announced = rig.records.of(EventKind::step_announced);
  REQUIRE(started.size() == 32);
  REQUIRE(announced.size() == 32);
  std::vector<double> tried;
  for (std::size_t i = 0; i < started.size(); i += 2) {
    // What was announced, before its value was known, is what came.
    CHECK(announced[i].a == started[i].a);
    CHECK(announced[i].b == started[i].b);
    CHECK(started[i].b == i / 2);
    double farthest = 0;
    for (const auto& s : rig.records.samples[angle])
      if (s.when >= started[i].when && (i + 2 >= started.size() || s.when < started[i + 2].when))
        farthest = std::max(farthest, s.value);
    tried.push_back(std::round(farthest));
  }
  CHECK(tried[0] == 32.0);
  for (std::size_t i = 8; i < tried.size(); ++i) CHECK((tried[i] == 23.0 || tried[i] == 24.0 || tried[i] == 22.0));
  CHECK(std::ranges::count(tried, 23.0) >= 3);
  CHECK(std::ranges::count(tried, 24.0) >= 3);
}
