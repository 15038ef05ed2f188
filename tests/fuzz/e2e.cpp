// Receivers of frames that are protected end to end: no bytes may harm them, and none that are not protected may count.

#include "drivers/protocol/e2e_receiver.hpp"
#include "tests/fuzz/protocol_under_fuzz.hpp"

using namespace trackrod;

TRACKROD_FUZZ(data) {
  if (data.size() < 6) return;
  const auto byte = [&](std::size_t i) { return std::to_integer<unsigned>(data[i]); };
  E2e e2e;
  e2e.profile = static_cast<E2eProfile>(byte(0) % 3);
  e2e.id_mode = static_cast<E2eIdMode>(byte(0) / 3 % 4);
  e2e.data_id = static_cast<std::uint16_t>(byte(1) | byte(2) << 8);
  e2e.data_ids.fill(static_cast<std::uint8_t>(byte(1)));
  E2eLimits limits;
  limits.max_delta = 1 + byte(3) % 8;
  limits.max_silent = byte(3) / 8 % 16;
  limits.sync_counter = byte(4) % 4;
  limits.window = 1 + byte(4) / 4 % E2eReceiver::longest_window;
  limits.initial_is_ok = byte(5) % 2 != 0;
  E2eReceiver receiver{e2e, limits};
  constexpr std::size_t length = 8;
  std::array<std::byte, length> frame{};
  for (data = data.subspan(6); data.size() > length; data = data.subspan(length + 1)) {
    const auto what = std::to_integer<unsigned>(data[0]);
    std::copy_n(data.begin() + 1, length, frame.begin());
    // Every other time what a right sender would make of it, else as it is.
    if (what % 2 != 0) e2e.protect(frame, what / 2 % e2e.counters());
    if (what % 16 == 2) {
      receiver.nothing_came();
      continue;
    }
    const auto status = receiver.check(frame);
    const bool wrong = status == E2eStatus::wrong_checksum || status == E2eStatus::error;
    fuzz::require(wrong != e2e.intact(frame), "a frame is wrong exactly when it is not intact");
    fuzz::require(receiver.lost() < e2e.counters(), "no more frames are lost than there are counters");
  }
}
