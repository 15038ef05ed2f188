// Lines of an instrument.

#include "tests/fuzz/protocol_under_fuzz.hpp"

using namespace trackrod;

TRACKROD_FUZZ(data) {
  const auto protocol = fuzz::make(R"({"kind": "scpi", "identify": "supply", "timeout": "20 ms",
    "settings": {"voltage": {"write": "VOLT {}", "read_back": "VOLT?"}, "output": {"write": "OUTP {}", "digits": 0}},
    "readings": {"measured": {"query": "MEAS:VOLT?", "every": "1 ms"}}})");
  fuzz::feed(*protocol, data);
}
