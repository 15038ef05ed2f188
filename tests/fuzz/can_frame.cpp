// The byte form of CAN frames: what is read can be written, and is the same then.

#include "harness/base/can_frame.hpp"

#include <algorithm>

#include "tests/fuzz/protocol_under_fuzz.hpp"

using namespace trackrod;

TRACKROD_FUZZ(data) {
  const auto frame = read_can(data);
  if (!frame) return;
  std::array<std::byte, greatest_can_datagram> buffer{};
  const auto written = write_can(*frame, buffer);
  fuzz::require(std::equal(written.begin(), written.end(), data.begin(), data.end()),
                "a frame is written as it was read");
  fuzz::require(frame->data.size() <= 64, "no CAN frame has more than 64 bytes");
}
