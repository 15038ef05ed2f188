#include "drivers/protocol/frames_can.hpp"

#include <array>

#include "drivers/protocol/frames_settings.hpp"
#include "harness/base/can_identifier.hpp"

namespace trackrod {

const Fields<CanPlace>& can_place_fields() {
  static const auto fields =
      Fields<CanPlace>{"can_place", "How a frame travels on a CAN bus"}
          .need("id", &CanPlace::id, located(can_identifier()), "identifier, hexadecimal: \"0x120\"")
          .may("extended", &CanPlace::extended, flag(), "identifier of 29 bits (default: 11)")
          .may("fd", &CanPlace::fd, flag(), "FD frame, up to 64 bytes (default: classic, up to 8)")
          .may("bit_rate_switch", &CanPlace::bit_rate_switch, flag(), "FD: data at the higher bit rate");
  return fields;
}

// The frame itself knows which lengths there are.
bool fits_can(const CanPlace& place, std::size_t bytes) noexcept {
  static constexpr std::array<std::byte, 64> zeros{};
  std::array<std::byte, greatest_can_datagram> nowhere;
  const CanPlace any{{0, {}}, false, place.fd, false};
  return bytes <= zeros.size() && !write_can(any.frame_of(std::span{zeros}.first(bytes)), nowhere).empty();
}

void check_can_place(const CanPlace& place, const Located<int>& length, Problems& problems) {
  if (!place.extended && place.id.value > greatest_standard_id)
    problems.add(place.id.at, "an identifier of more than 11 bits", "at most \"0x7FF\"", "or \"extended\": true");
  if (place.bit_rate_switch && !place.fd)
    problems.add(place.id.at, "'bit_rate_switch' in a classic frame", "\"fd\": true with it");
  if (fits_can(place, static_cast<std::size_t>(length.value))) return;
  problems.add(
      length.at, "found " + std::to_string(length.value) + " bytes",
      place.fd ? "1 to 8, 12, 16, 20, 24, 32, 48 or 64 bytes in a CAN FD frame" : "1 to 8 bytes in a CAN frame",
      place.fd ? "fill up to the next of these lengths" : "or \"fd\": true, where all on the bus know CAN FD");
}

void check_frames_over(const FramesSettings& settings, Carries carries, const Where& link, Problems& problems) {
  const bool on_can = carries == Carries::can_frames;
  if (settings.stream != (carries == Carries::stream)) {
    if (settings.stream)
      problems.add(link, "the protocol has \"stream\": true, but this link carries whole messages",
                   "a link of bytes without bounds, such as 'serial'", "leave 'stream' out");
    else
      problems.add(link, "this link carries bytes without bounds", "\"stream\": true in the protocol",
                   "and in each frame a 'match' or a 'checksum', to find where it begins");
  }
  for (const auto* frames : {&settings.receive, &settings.send})
    for (const auto& [name, frame] : *frames) {
      if (frame.can.has_value() == on_can) continue;
      if (on_can)
        problems.add(name.at, "frame '" + name.value + "' has no identifier, and the link is a CAN bus",
                     "\"can\": {\"id\": \"0x120\"} or the like in every frame");
      else
        problems.add(frame.can->id.at, "frame '" + name.value + "' has a CAN identifier, and the link is no CAN bus",
                     "frames with 'can' on a link of kind 'can' only", "a 'match' tells frames apart on other links");
    }
}

}  // namespace trackrod
