// What a bench file may say about a CANopen device.

#include "drivers/protocol/canopen_settings.hpp"

#include "tests/protocol/wire.hpp"

using namespace trackrod;
using namespace trackrod::testing;

namespace {

std::vector<std::string> problems_of(const std::string& inside) {
  Chosen chosen;
  Problems problems;
  read_settings(R"({"kind": "canopen", )" + inside + "}", chosen, problems);
  std::vector<std::string> all;
  for (const auto& p : problems.sorted()) all.push_back(p.sentence());
  return all;
}

void refuses(const std::string& inside, const std::string& words) {
  CAPTURE(inside, words);
  const auto all = problems_of(inside);
  REQUIRE(all.size() == 1);
  CAPTURE(all[0]);
  CHECK(all[0].find(words) != std::string::npos);
}

}  // namespace

TEST_CASE("wrong CANopen settings are told with what is allowed") {
  refuses(R"("node": 128)", "127");
  refuses(R"("node": 5, "read": {"a": {"object": "6064", "type": "i32"}})", "as \"6064:00\"");
  refuses(R"("node": 5, "read": {"a": {"object": "60G4:00", "type": "i32"}})", "as \"6064:00\"");
  refuses(R"("node": 5, "read": {"a": {"object": "6064:00", "type": "int"}})", "'i32'");
  refuses(R"("node": 5, "read": {"a": {"object": "6064:00", "type": "i32", "scale": 0}})", "scale of 0");
  refuses(
      R"("node": 5, "read": {"a": {"object": "6064:00", "type": "i32"}}, "drive": {"a": {"object": "607A:00", "type": "i32"}})",
      "stands there already");
  refuses(R"("node": 5, "read": {"nmt_state": {"object": "6064:00", "type": "i32"}})", "by itself");
  refuses(
      R"("node": 5, "drive": {"a": {"object": "607A:00", "type": "i32"}, "b": {"object": "607A:00", "type": "i32"}})",
      "driven already");
  refuses(R"("node": 5, "profile": 402, "drive": {"a": {"object": "6040:00", "type": "u16"}})", "drive_wanted");
  refuses(R"("node": 5, "heartbeat": {"every": "20 ms", "lost_after": "20 ms"})", "more than 'every'");
  refuses(R"("node": 5, "heartbeat": {"every": "1.5 ms", "lost_after": "20 ms"})", "whole milliseconds");
  refuses(R"("node": 5, "own_heartbeat": {"node": 5, "every": "10 ms", "lost_after": "20 ms"})", "another number");
  std::string many = R"("node": 5, "drive": {)";
  for (int i = 0; i < 26; ++i)
    many +=
        (i > 0 ? ", \"d" : "\"d") + std::to_string(i) + R"(": {"object": "2000:)" + (i < 16 ? "0" : "") +
        std::vector<std::string>{
            "0", "1", "2", "3",  "4",  "5",  "6",  "7",  "8",  "9",  "A",  "B",  "C",
            "D", "E", "F", "10", "11", "12", "13", "14", "15", "16", "17", "18", "19"}[static_cast<std::size_t>(i)] +
        R"(", "type": "u8"})";
  refuses(many + "}", "at most 25");
}

TEST_CASE("fields of a CANopen device say what they hold") {
  Chosen chosen;
  Problems problems;
  const auto fields = read_settings(R"({"kind": "canopen", "node": 5, "profile": 402,
    "read": {"position": {"object": "6064:00", "type": "i16", "scale": -0.5, "offset": 1}},
    "drive": {"gain": {"object": "2001:01", "type": "f32"}}})",
                                    chosen, problems);
  CHECK(problems.none());
  REQUIRE(fields.size() == 7);
  CHECK(fields[0].readable);
  CHECK(fields[0].low == -0.5 * 32767 + 1);
  CHECK(fields[0].high == 0.5 * 32768 + 1);
  CHECK(fields[0].resolution == 0.5);
  CHECK(fields[1].drivable);
  CHECK(fields[1].low == fields[1].high);
  CHECK(fields[5].name == "drive_wanted");
  CHECK(fields[5].drivable);
  CHECK_FALSE(fields[5].readable);
}
