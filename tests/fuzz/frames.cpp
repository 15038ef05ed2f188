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
                 "fields": {"b": {"start": 47, "bits": 53, "order": "big"}}}},
      "send": {"command": {"length": 8, "cycle": "1 ms", "checksum": {"kind": "XOR-8", "at": 7},
               "fields": {"c": {"start": 0, "bits": 12}}}}})";
  };
  if (data.empty()) return;
  const auto choice = std::to_integer<unsigned>(data[0]);
  const auto protocol =
      fuzz::make(settings((choice & 1) != 0 ? "true" : "false"), (choice & 2) != 0 ? Side::peer : Side::bench);
  fuzz::feed(*protocol, data.subspan(1));
}
