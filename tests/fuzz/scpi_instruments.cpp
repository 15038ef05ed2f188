// Relay boxes and meters that answer in blocks.

#include "tests/fuzz/protocol_under_fuzz.hpp"

using namespace trackrod;

TRACKROD_FUZZ(data) {
  const auto protocol = fuzz::make(R"({"kind": "scpi", "timeout": "20 ms",
    "relays": {"feed_open": {"channels": "101"}, "both": {"channels": "203:204"},
      "wire": {"ways": ["301", "302:303"]}},
    "readings": {"level": {"query": "FETC?", "every": "1 ms", "block": {"type": "real32", "item": 1}}}})");
  fuzz::feed(*protocol, data);
}
