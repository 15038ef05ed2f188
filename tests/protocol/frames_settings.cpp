// What is wrong with a description of frames: each with its exact place.

#include "drivers/protocol/frames_settings.hpp"

#include <algorithm>

#include "tests/protocol/wire.hpp"

using namespace trackrod;
using namespace trackrod::testing;

namespace {

struct Wrong {
  std::string text;  // the place that is meant is marked by @ in front of it
  std::string found;
  std::string allowed;
};

std::string frame(const std::string& inside) {
  return "{\"kind\": \"frames\",\n \"receive\": {\"status\": {\"length\": 8" + inside + "}}}";
}

const std::vector<Wrong>& wrongs() {
  static const std::vector<Wrong> all{
      {frame(R"(, "fields": {"a": {"start": @60, "bits": 8}})"), "'a' reaches bit 67", "bits 0 to 63"},
      {frame(R"(, "order": "big", "fields": {"a": {"start": @59, "bits": 8}})"), "'a' reaches bit 71", "bits 0 to 63"},
      {frame(R"(, "fields": {"a": {"start": 0, "bits": 9}, "b": {"start": @8, "bits": 8}})"),
       "'b' takes bit 8, which belongs to 'a'", "bits of its own"},
      {frame(R"(, "counter": {"start": 8, "bits": 8}, "fields": {"a": {"start": @15, "bits": 1}})"),
       "belongs to 'counter'", ""},
      {frame(R"(, "match": {"start": 0, "bits": 4, "value": @16})"), "found 16", "at most 15"},
      {frame(R"(, "counter": {"start": 0, "bits": @33})"), "found 33", "1 to 32"},
      {frame(R"(, "fields": {"a": {"start": 0, "bits": @54}})"), "found 54", "1 to 53"},
      {frame(R"(, "fields": {"a": {"start": 0, "bits": 8, "scale": @0}})"), "scale of 0", "any other number"},
      {frame(R"(, "fields": {"a": {"start": 0, "bits": 8, "order": @"middle"}})"), "found \"middle\"",
       "'little' or 'big'"},
      {frame(R"(, "fields": {"a": @{"start": 0}})"), "'bits' is missing", ""},
      {frame(R"(, "checksum": {"kind": @"CRC-16/IBM3740", "at": 6})"), "unknown checksum",
       "did you mean 'CRC-16/IBM-3740'?"},
      {frame(R"(, "checksum": {"kind": "CRC-16/ARC", "at": @7})"), "the checksum reaches bit 71", "bits 0 to 63"},
      {frame(R"(, "checksum": {"kind": "CRC-16/ARC", "at": @6}, "match": {"start": 48, "bits": 8, "value": 1})"),
       "the checksum takes bit 48, which belongs to 'match'", ""},
      {frame(R"(, "checksum": {"kind": "CRC-16/ARC", "at": 6}, "fields": {"a": {"start": @40, "bits": 12}})"),
       "'a' takes bit 48, which belongs to the checksum", ""},
      {frame(R"(, "checksum": {"kind": "CRC-8/SAE-J1850", "at": @0})"), "covers no byte", "'from' below 'to'"},
      {frame(R"(, "checksum": {"kind": "CRC-8/SAE-J1850", "at": 0, "from": @1, "to": 9})"), "bytes 1 to 8",
       "bytes 0 to 7"},
      {frame(R"(, "checksum": {"kind": "CRC-8/SAE-J1850", "at": 4, "from": @2, "to": 8})"), "and with them itself",
       "'from' at least 5"},
      {"{\"kind\": \"frames\",\n \"stream\": true, \"receive\": {@\"status\": {\"length\": 8}}}",
       "where it begins in a stream", "a 'match', a 'checksum' or 'e2e'"},
      {R"({"kind": "frames", "receive": {"a": {"length": 8}, @"b": {"length": 4}}})", "'b' cannot be told from 'a'",
       "'match'"},
      {R"({"kind": "frames", "receive": {"a": {"length": 8, "match": {"start": 0, "bits": 8, "value": 1}},
          @"b": {"length": 4, "match": {"start": 0, "bits": 8, "value": 1}}}})",
       "'b' cannot be told from 'a'", "another 'value'"},
      {R"({"kind": "frames", "receive": {
          "a": {"length": 8, "match": {"start": 0, "bits": 8, "value": 1}, "fields": {"x": {"start": 8, "bits": 8}}},
          "b": {"length": 8, "match": {"start": 0, "bits": 8, "value": 2}, "fields": {@"x": {"start": 8, "bits": 8}}}}})",
       "'x' stands in this direction already, in line 2", "each name once"},
      {R"({"kind": "frames", "send": {@"a": {"length": 8}}})", "nothing says when frame 'a' is sent", "'on_change'"},
      {frame(R"(, "fields": {"a": {"start": 0, "bits": @16, "float": true}})"), "found 16 bits", "32 or 64"},
      {frame(R"(, "fields": {"a": {"start": 0, "bits": @32, "float": true, "signed": true}})"), "'signed' with 'float'",
       "one"},
      {"{\"kind\": \"frames\", \"receive\": {\"a\": {\"length\": 16, \"fields\": {\"x\": {\"start\": @4, \"bits\": 64, "
       "\"float\": true}}}}}",
       "do not fill whole bytes", "8 times a byte"},
      {frame(R"(, "fields": {"a": {"start": 0, "bits": 8, "when": @1}})"), "without a selector", "'selector'"},
      {frame(R"(, "selector": {"start": 0, "bits": 2}, "fields": {"a": {"start": 8, "bits": 8, "when": @4}})"),
       "found 4", "at most 3"},
      {frame(R"(, "selector": {"start": @0, "bits": 2}, "fields": {"a": {"start": 8, "bits": 8}})"),
       "no field asks for", "'when'"},
      {frame(
           R"(, "selector": {"start": 0, "bits": 2}, "fields": {"a": {"start": 8, "bits": 8, "when": 1}, "b": {"start": @12, "bits": 8, "when": 1}})"),
       "'b' takes bit 12, which belongs to 'a'", ""},
      {frame(
           R"(, "selector": {"start": 0, "bits": 2}, "fields": {"a": {"start": 8, "bits": 8, "when": 1}, "b": {"start": @12, "bits": 8}})"),
       "'b' takes bit 12, which belongs to 'a'", ""},
      {frame(R"(, "cycle": "5 ms", "phase": @"5 ms")"), "not within a cycle", "below 'cycle'"},
      {R"({"kind": "frames", "stream": true, "together": @true, "receive": {}})", "where there are no datagrams",
       "'udp'"},
      {frame(R"(, "e2e": {"profile": @"P01"})"), "no 'data_id'", "identifier"},
      {frame(R"(, "e2e": {"profile": @"P02"})"), "no 'data_ids'", "16"},
      {frame(R"(, "e2e": {"profile": "P05", "data_id": 1, "id_mode": @"low"})"), "'id_mode' with P05", "P01"},
      {frame(R"(, "e2e": {"profile": "P01", "data_id": 1, "counter": @10})"), "found bit 10", "multiple of 4"},
      {frame(R"(, "e2e": {"profile": "P01", "data_id": 1, "nibble": @12})"), "'nibble' with P01", "\"nibble\""},
      {frame(R"(, "e2e": {"profile": "P01", "data_id": 1, "max_delta": @14})"), "found 14", "less than 14"},
      {frame(R"(, "e2e": {"profile": @"P05", "data_id": 1}, "counter": {"start": 32, "bits": 8})"), "beside 'counter'",
       "one or the other"},
      {frame(R"(, "e2e": {"profile": @"P05", "data_id": 1, "at": 6})"), "the counter of 'e2e' reaches bit 71", ""},
      {frame(R"(, "e2e": {"profile": "P05", "data_id": 1}, "fields": {"a": {"start": @16, "bits": 8}})"),
       "belongs to the counter of 'e2e'", ""},
      {frame(R"(, "e2e": {"profile": @"P05", "data_id": 1, "min_ok_valid": 5})"), "easier to become valid", ""},
      {frame(R"(, "e2e": {"profile": "P05", "data_id": 1, "window": @2})"), "more right checks", ""},
      {R"({"kind": "frames", "send": {"a": {"length": 8, "cycle": @"1 us"}}})", "found \"1 us\"", ""},
      {R"({"kind": "frames", "send": {"a": {"length": @100, "cycle": "1 ms"}}})", "28 words of take-over memory",
       "24 words"},
      {frame(R"(, @"chcksum": {})"), "unknown key 'chcksum'", "did you mean 'checksum'?"},
  };
  return all;
}

}  // namespace

TEST_CASE("every mistake in a description of frames is told with its place") {
  for (const auto& wrong : wrongs()) {
    auto text = wrong.text;
    const auto mark = text.find('@');
    REQUIRE(mark != std::string::npos);
    text.erase(mark, 1);
    const auto before = text.substr(0, mark);
    const auto line = 1 + static_cast<int>(std::count(before.begin(), before.end(), '\n'));
    const auto column =
        static_cast<int>(mark - (before.rfind('\n') == std::string::npos ? 0 : before.rfind('\n') + 1)) + 1;
    CAPTURE(text);
    Chosen chosen;
    Problems problems;
    read_settings(text, chosen, problems);
    const auto all = problems.sorted();
    REQUIRE(all.size() == 1);
    const auto sentence = all[0].sentence();
    CAPTURE(sentence);
    CHECK(all[0].at.line == line);
    CHECK(all[0].at.column == column);
    CHECK(sentence.find(wrong.found) != std::string::npos);
    CHECK(sentence.find(wrong.allowed) != std::string::npos);
  }
}

TEST_CASE("a name in both directions is one field that is driven and comes back") {
  Chosen chosen;
  Problems problems;
  const auto fields = read_settings(R"({"kind": "frames",
    "receive": {"r": {"length": 4, "fields": {"angle": {"start": 0, "bits": 24, "signed": true, "scale": 0.001}}}},
    "send": {"s": {"length": 4, "cycle": "2 ms", "fields": {"angle": {"start": 0, "bits": 16, "signed": true, "scale": -0.1, "offset": 5}}}}})",
                                    chosen, problems);
  CHECK(problems.none());
  REQUIRE(fields.size() == 1);
  CHECK(fields[0].readable);
  CHECK(fields[0].drivable);
  CHECK(fields[0].resolution == 0.001);
  CHECK(fields[0].low == Approx(-3276.7 + 5));
  CHECK(fields[0].high == Approx(3276.8 + 5));
}

TEST_CASE("a field counts when its message to send has an alive counter or is protected end to end") {
  Chosen chosen;
  Problems problems;
  const auto fields = read_settings(R"({"kind": "frames",
    "receive": {"r": {"length": 4, "counter": {"start": 24, "bits": 8}, "fields": {"read": {"start": 0, "bits": 8}}}},
    "send": {"plain": {"length": 8, "match": {"start": 56, "bits": 8, "value": 0}, "cycle": "2 ms", "fields": {"bare": {"start": 0, "bits": 8}}},
             "alive": {"length": 8, "match": {"start": 56, "bits": 8, "value": 1}, "cycle": "2 ms", "counter": {"start": 24, "bits": 8}, "fields": {"counted": {"start": 0, "bits": 8}}},
             "safe": {"length": 8, "match": {"start": 56, "bits": 8, "value": 2}, "cycle": "2 ms", "e2e": {"profile": "P01", "data_id": 291},
                      "fields": {"protected": {"start": 16, "bits": 8}}}}})",
                                    chosen, problems);
  for (const auto& problem : problems.sorted()) UNSCOPED_INFO(problem.sentence());
  CHECK(problems.none());
  for (const auto& field : fields) {
    CAPTURE(field.name);
    CHECK(field.counted == (field.name == "counted" || field.name == "protected"));
  }
  CHECK(fields.size() == 4);
}
