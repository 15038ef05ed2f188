// Frames from a CANopen device: any at all, and such with identifiers of the device.

#include "drivers/protocol/canopen_messages.hpp"
#include "tests/fuzz/protocol_under_fuzz.hpp"

using namespace trackrod;

namespace {

// Answers every SDO question with what the fuzzer says, so that the start-up gets somewhere.
void answer_questions(Protocol& protocol, std::span<const std::byte> data) {
  fuzz::FieldsWithin sink{protocol};
  std::array<std::byte, greatest_can_datagram> buffer{};
  BenchTime now{std::chrono::seconds{1}};
  std::array<std::byte, 8> answer{};
  while (data.size() >= 8) {
    for (int i = 0; i < 40; ++i) {
      const auto message = protocol.due(now);
      if (message.empty()) break;
      const auto asked = read_can(message);
      fuzz::require(asked.has_value(), "what is sent is a CAN frame");
      if (asked->id != 0x605 || data.size() < 8) continue;
      const auto command = std::to_integer<unsigned>(asked->data[0]) >> 5;
      const auto given = data.first(6);
      data = data.subspan(6);
      std::copy(asked->data.begin(), asked->data.end(), answer.begin());
      // A right form to most questions, the fuzzer's own to the others.
      answer[0] = std::to_integer<unsigned>(given[0]) % 8 != 0 ? (command == 2   ? std::byte{0x43}
                                                                  : command == 1 ? std::byte{0x60}
                                                                                 : given[1])
                                                               : given[1];
      std::copy(given.begin() + 2, given.end(), answer.begin() + 4);
      const CanFrame frame{0x585, false, false, false, false, false, false, answer};
      protocol.on_bytes(write_can(frame, buffer), {now, StampedBy::kernel, {}}, sink);
    }
    if (data.size() < 8) break;
    const std::uint32_t ids[] = {0x085, 0x185, 0x285, 0x385, 0x485, 0x585, 0x705, 0x7FF};
    const auto pick = std::to_integer<unsigned>(data[0]);
    const CanFrame frame{ids[pick % 8], false, false, false,
                         false,         false, false, data.subspan(1, std::min<std::size_t>(pick / 8 % 9, 7))};
    protocol.on_bytes(write_can(frame, buffer), {now, StampedBy::kernel, {}}, sink);
    data = data.subspan(8);
    now += std::chrono::milliseconds{pick % 32};
    for (std::size_t f = 0; f < protocol.fields().size(); ++f) protocol.set(static_cast<FieldIndex>(f), pick % 7);
  }
}

}  // namespace

TRACKROD_FUZZ(data) {
  if (data.size() < 4) return;
  const auto protocol = fuzz::make(R"({"kind": "canopen", "node": 5, "profile": 402, "sync": true, "timeout": "20 ms",
    "heartbeat": {"every": "10 ms", "lost_after": "35 ms"},
    "read": {"position": {"object": "6064:00", "type": "i32"}, "big": {"object": "2000:01", "type": "f64", "every": "5 ms"}},
    "drive": {"target": {"object": "607A:00", "type": "i32"}, "long": {"object": "2000:02", "type": "u64"}}})");
  if (std::to_integer<unsigned>(data[0]) % 2 == 0)
    fuzz::feed(*protocol, data.subspan(1));
  else
    answer_questions(*protocol, data.subspan(1));
  const auto message = std::to_integer<std::uint32_t>(data[1]) << 24 | std::to_integer<std::uint32_t>(data[2]) << 8;
  fuzz::require(describe_canopen(message).size() < 300, "every message can be told");
}
