// Bit-packed frames, as datagrams and as a stream, on both sides.

#include "tests/fuzz/protocol_under_fuzz.hpp"

using namespace trackrod;

TRACKROD_FUZZ(data) {
  const auto settings = [](const char* stream) {
    return std::string{R"({"kind": "frames", "stream": )"} + stream + R"(,
      "receive": {
        "short": {"length": 3, "match": {"start": 0, "bits": 2, "value": 1}, "counter": {"start": 2, "bits": 3},
                  "fields": {"a": {"start": 5, "bits": 19, "signed": true, "scale": 0.5}}},
        "long": {"length": 14, "match": {"start": 0, "bits": 2, "value": 2}, "checksum": {"kind": "CRC-16/IBM-3740", "at": 12},
                 "fields": {"b": {"start": 47, "bits": 53, "order": "big"}}},
        "paged": {"length": 16, "match": {"start": 0, "bits": 2, "value": 3}, "e2e": {"profile": "P05", "data_id": 77, "at": 1},
                  "selector": {"start": 2, "bits": 6},
                  "fields": {"d": {"start": 32, "bits": 64, "float": true, "when": 1}, "e": {"start": 32, "bits": 32, "float": true, "when": 2}}}},
      "send": {"command": {"length": 8, "cycle": "2 ms", "on_change": "1 ms", "checksum": {"kind": "XOR-8", "at": 7},
               "selector": {"start": 12, "bits": 4},
               "fields": {"c": {"start": 0, "bits": 12}, "f": {"start": 16, "bits": 16, "when": 3}, "g": {"start": 16, "bits": 8, "when": 9}}}}})";
  };
  if (data.empty()) return;
  const auto choice = std::to_integer<unsigned>(data[0]);
  const auto protocol =
      fuzz::make(settings((choice & 1) != 0 ? "true" : "false"), (choice & 2) != 0 ? Side::peer : Side::bench);
  fuzz::feed(*protocol, data.subspan(1));
}
