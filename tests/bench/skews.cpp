// Measured skews in a bench file: which entry counts, what it does to the signals, and what is refused.

#include "tests/bench/demo.hpp"
#include "tests/catch.hpp"

using namespace trackrod;
using namespace trackrod::test;
using namespace std::chrono_literals;

namespace {

auto with_skews(const std::string& entries) {
  return parse(
      Sources{{"bench.json", "{\"include\": [\"skews.json\"]," + demo_text().substr(demo_text().find('{') + 1)},
              {"skews.json", "{\"skews\": [" + entries + "]}"}});
}

const std::string old_entry = R"({"signal": "road.angle", "against": "hand.angle", "value": "5 ms", "u": "1 ms",
  "date": "2025-03-01"})";
const std::string new_entry = R"({"signal": "road.angle", "against": "hand.angle", "value": "-0.1 ms", "u": "0.03 ms",
  "date": "2026-11-20", "due": "2027-11-20", "used": "a shaft between the two"})";

}  // namespace

TEST_CASE("of several skews of a signal the newest counts, and its delay rests on the other signal's") {
  for (const auto& entries : {old_entry + "," + new_entry, new_entry + "," + old_entry}) {
    const auto read = with_skews(entries);
    INFO(read.sentences());
    REQUIRE(read.bench);
    const auto& road = read.bench->signals[*read.bench->find("road.angle")].info;
    CHECK(road.skew.against == "hand.angle");
    CHECK(road.skew.value == -100us);
    CHECK(road.skew.uncertainty == 30us);
    CHECK(road.skew.date == "2026-11-20");
    CHECK(road.skew.due == "2027-11-20");
    CHECK(road.skew.used == "a shaft between the two");
    CHECK(road.delay == 200us);                                        // 0.3 ms of hand.angle, less 0.1 ms
    CHECK(road.delay_uncertainty.count() == Approx(58310).margin(1));  // hypot(0.05, 0.03) ms
    CHECK(read.bench->signals[*read.bench->find("hand.angle")].info.skew.against.empty());
  }
}

TEST_CASE("of two skews of one day the first in the file counts") {
  const auto today = R"({"signal": "road.angle", "against": "hand.angle", "value": "7 ms", "u": "1 ms",
    "date": "2026-11-20"},)" +
                     new_entry;
  const auto read = with_skews(today);
  REQUIRE(read.bench);
  CHECK(read.bench->signals[*read.bench->find("road.angle")].info.skew.value == 7ms);
}

TEST_CASE("skews that make no sense are told with their places") {
  const auto told = [](const std::string& entries) {
    const auto read = with_skews(entries);
    CHECK_FALSE(read.bench);
    return read.sentences();
  };
  const auto entry = [](const std::string& signal, const std::string& against, const std::string& more = "") {
    return R"({"signal": ")" + signal + R"(", "against": ")" + against +
           R"(", "value": "1 ms", "u": "0.1 ms", "date": "2026-01-02")" + more + "}";
  };
  CHECK(told(entry("road.angel", "hand.angle")).find("did you mean 'road.angle'?") != std::string::npos);
  CHECK(told(entry("road.angle", "road.angle")).find("against itself") != std::string::npos);
  CHECK(told(entry("road.angle", "hand.angle_cmd")).find("a driven signal") != std::string::npos);
  CHECK(told(entry("road.angle", "hand.angle") + "," + entry("hand.angle", "hand.torque")).find("has a skew itself") !=
        std::string::npos);
  CHECK(told(entry("road.angle", "hand.angle", R"(, "due": "2026-01-01")")).find("after the date") !=
        std::string::npos);
  CHECK(told(R"({"signal": "road.angle"})").find("'against' is missing") != std::string::npos);
}
