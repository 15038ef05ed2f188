// A measured skew travels with the capture, and captures from before there were skews still read.

#include <nlohmann/json.hpp>

#include "harness/capture/stream_header.hpp"
#include "tests/catch.hpp"

using namespace trackrod;
using namespace std::chrono_literals;

TEST_CASE("the header of a capture keeps the skew of a signal") {
  StreamHeader header;
  header.signals.emplace_back().name = "late";
  header.signals[0].skew = {"base", -120us, 30us, "2026-11-20", "2027-11-20", "run 4, step 'out'"};
  const auto read = stream_header_from_json(to_json(header));
  REQUIRE(read);
  const auto& skew = read->signals.at(0).skew;
  CHECK(skew.against == "base");
  CHECK(skew.value == -120us);
  CHECK(skew.uncertainty == 30us);
  CHECK(skew.date == "2026-11-20");
  CHECK(skew.due == "2027-11-20");
  CHECK(skew.used == "run 4, step 'out'");

  auto old = nlohmann::json::parse(to_json(header));
  old["signals"][0].erase("skew");
  const auto without = stream_header_from_json(old.dump());
  REQUIRE(without);
  CHECK(without->signals.at(0).skew.against.empty());
}
