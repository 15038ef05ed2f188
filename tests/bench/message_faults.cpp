// Faults of messages, as a bench file names them and as the engine gets them.

#include "tests/bench/demo.hpp"
#include "tests/catch.hpp"

using namespace trackrod;
using namespace trackrod::test;
using namespace std::chrono_literals;

namespace {

using K = MessageFault::Kind;

std::string replaced(std::string text, const std::string& piece, const std::string& by) {
  const auto at = text.find(piece);
  REQUIRE(at != std::string::npos);
  return text.replace(at, piece.size(), by);
}

// The demo bench with these faults in the place of its own.
Parsed with_faults(const std::string& faults, const std::string& bench = demo_text()) {
  const auto from = bench.find("\"faults\": {");
  REQUIRE(from != std::string::npos);
  const auto end = bench.find("\n  },", from) + 5;
  return parse(bench.substr(0, from) + "\"faults\": {" + faults + "}," + bench.substr(end));
}
std::string fault(const std::string& name, const std::string& make) {
  return "\"" + name + R"(": {"what": "w", "make": {)" + make + "}}";
}
const std::string of_vehicle = R"("device": "unit", "message": "vehicle")";

MessageFault only(const std::string& make) {
  const auto read = with_faults(fault("one", make));
  INFO(read.sentences());
  REQUIRE(read.bench);
  return std::get<MessageFault>(read.bench->faults.at(0).way);
}

}  // namespace

TEST_CASE("each kind of fault of messages is read with what it needs") {
  const auto dropped = only(R"("kind": "dropped", )" + of_vehicle);
  CHECK(dropped.kind == K::dropped);
  CHECK(dropped.device == 2);
  CHECK(dropped.message == 0);
  CHECK(only(R"("kind": "held_back", "by": "100 ms", )" + of_vehicle).time == 100ms);
  const auto repeated = only(R"("kind": "repeated", )" + of_vehicle);
  CHECK(repeated.times == 1);
  CHECK_FALSE(repeated.in_place);
  CHECK(only(R"("kind": "repeated", "times": 7, "in_place": true, )" + of_vehicle).in_place);
  CHECK(only(R"("kind": "miscounted", "step": -2, )" + of_vehicle).step == -2);
  CHECK(only(R"("kind": "corrupted", )" + of_vehicle).kind == K::corrupted);
  CHECK(only(R"("kind": "wrong_length", "by": 3, )" + of_vehicle).step == 3);
  CHECK(only(R"("kind": "wrong_cycle", "cycle": "30 ms", )" + of_vehicle).time == 30ms);
  CHECK(only(R"("kind": "silent", "device": "unit")").message == every_message);
  const auto babbling = only(R"("kind": "babbling", "every": "5 ms", "times": 4, )" + of_vehicle);
  CHECK(babbling.time == 5ms);
  CHECK(babbling.times == 4);
}

TEST_CASE("only a message with a counter is miscounted, and only one with a checksum corrupted") {
  const auto no_counter = replaced(
      demo_text(),
      "\"match\": {\"start\": 7, \"bits\": 8, \"value\": 35},\n            \"counter\": {\"start\": 11, \"bits\": 4},",
      "\"match\": {\"start\": 7, \"bits\": 8, \"value\": 35},");
  const auto miscounted = with_faults(fault("one", R"("kind": "miscounted", "step": 0, )" + of_vehicle), no_counter);
  CHECK_FALSE(miscounted.bench);
  CHECK(miscounted.sentences().find("'vehicle' has no counter; allowed: a message with 'counter' or 'e2e'") !=
        std::string::npos);

  const auto no_checksum = replaced(demo_text(), "\"checksum\": {\"kind\": \"CRC-8/SAE-J1850\", \"at\": 7},", "");
  const auto corrupted = with_faults(fault("one", R"("kind": "corrupted", )" + of_vehicle), no_checksum);
  CHECK_FALSE(corrupted.bench);
  CHECK(corrupted.sentences().find("'vehicle' has no checksum; allowed: a message with 'checksum' or 'e2e'") !=
        std::string::npos);
}

TEST_CASE("faults of one message are kept apart by themselves, those of different messages are not") {
  const auto read = with_faults(fault("silent", R"("kind": "silent", "device": "unit")") + ", " +
                                fault("dropped", R"("kind": "dropped", )" + of_vehicle) + ", " +
                                fault("load", R"("kind": "dropped", "device": "road", "message": "command")"));
  INFO(read.sentences());
  REQUIRE(read.bench);
  CHECK(read.bench->faults[0].not_with == std::vector<std::size_t>{1});
  CHECK(read.bench->faults[1].not_with == std::vector<std::size_t>{0});
  CHECK(read.bench->faults[2].not_with.empty());
}
