// Diagnostic answers of a unit; each piece is a whole message.

#include "tests/fuzz/protocol_under_fuzz.hpp"

using namespace trackrod;

TRACKROD_FUZZ(data) {
  const auto protocol = fuzz::make(R"({"kind": "uds", "session": 3, "timeout": "20 ms", "pending_timeout": "100 ms",
    "faults": {"every": "5 ms", "counts": "confirmed", "codes": {"supply_low": "123456"}, "clear": "clear_faults"},
    "values": {"temperature": {"id": "F40D", "start": 7, "bits": 8, "every": "5 ms"}},
    "identity": {"serial": "F18C"}})");
  fuzz::feed(*protocol, data);
}
