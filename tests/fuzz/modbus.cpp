// Modbus at both ends, on a serial line and on TCP: the first byte says which.

#include "tests/fuzz/protocol_under_fuzz.hpp"

using namespace trackrod;

TRACKROD_FUZZ(data) {
  if (data.empty()) return;
  const auto which = std::to_integer<unsigned>(data[0]);
  const std::string transport = (which & 1) != 0 ? "tcp" : "rtu";
  const auto protocol = fuzz::make(R"({"kind": "modbus", "transport": ")" + transport + R"(", "unit": 17,
    "timeout": "20 ms", "identify": true,
    "settings": {"torque": {"table": "holding", "address": 10, "type": "int16"},
                 "limit": {"table": "holding", "address": 11, "type": "float32", "words": "little", "tolerance": 1},
                 "enable": {"table": "coil", "address": 19, "multiple": true}},
    "readings": {"angle": {"table": "holding", "address": 107, "type": "int32", "every": "1 ms"},
                 "speed": {"table": "input", "address": 8, "every": "1 ms"},
                 "ready": {"table": "discrete", "address": 196, "every": "5 ms"}}})",
                                   (which & 2) != 0 ? Side::peer : Side::bench);
  fuzz::feed(*protocol, data.subspan(1));
}
