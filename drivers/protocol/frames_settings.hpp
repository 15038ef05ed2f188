#pragma once
// What a bench file says about bit-packed frames: kind "frames".

#include <cstddef>
#include <cstdint>
#include <optional>
#include <string>
#include <utility>
#include <vector>

#include "drivers/protocol/bits.hpp"
#include "drivers/protocol/e2e_settings.hpp"
#include "drivers/protocol/frames_can.hpp"
#include "drivers/protocol/stream_framing.hpp"
#include "harness/base/catalogue.hpp"
#include "harness/base/fields.hpp"

namespace trackrod {

// A run of bits; in the frame's byte order unless it says otherwise.
struct BitsSettings {
  Located<int> start;
  Located<int> bits;
  std::optional<ByteOrder> order;
};

// Bits that hold the same value in every frame of this kind, and in no other.
struct MatchSettings : BitsSettings {
  Located<std::int64_t> value;
};

// The device's own clock when it took the values: a count of ticks that begins anew when its bits are used up.
struct StampSettings : BitsSettings {
  double tick{1e-6};  // seconds
};

// value = scale * count + offset
struct FieldSettings : BitsSettings {
  bool is_signed{false};
  bool is_float{false};                       // IEEE 754, 32 or 64 bits: the count is no whole number
  std::optional<Located<std::int64_t>> when;  // present only with this value of the frame's selector
  Located<double> scale{1.0, {}};
  double offset{0.0};
};

struct ChecksumSettings {
  Name kind;                       // a name of checksum_catalogue()
  Located<int> at;                 // first byte of the checksum itself
  std::optional<ByteOrder> order;  // of its bytes
  Located<int> from;               // covers bytes from .. to - 1
  std::optional<int> to;           // default: `at`
};

struct FrameSettings {
  Located<int> length;  // bytes
  ByteOrder order{ByteOrder::little};
  std::optional<MatchSettings> match;
  std::optional<BitsSettings> counter;
  std::optional<StampSettings> stamp;  // of a frame to receive
  std::optional<ChecksumSettings> checksum;
  std::optional<E2eSettings> e2e;
  std::optional<CanPlace> can;  // on a CAN bus
  std::optional<BitsSettings> selector;
  std::vector<std::pair<Name, FieldSettings>> fields;
  std::optional<Located<Duration>> cycle, phase;
  std::optional<Located<Duration>> on_change;  // also sent on a change, this far apart at least

  // Between two frames; zero: only on a change.
  Duration period() const { return cycle ? cycle->value : on_change ? Duration{} : std::chrono::milliseconds{1}; }
  // The selector's values that stand at fields, in the order of the file; one 0 without a selector.
  std::vector<std::uint64_t> pages() const;
};
using NamedFrames = std::vector<std::pair<Name, FrameSettings>>;

struct FramesSettings {
  bool stream{false};
  Located<bool> together;                   // what is due at once goes out in one datagram
  std::optional<Located<Framing>> framing;  // of a stream; empty: by match and checksum
  NamedFrames receive, send;                // as the bench sees them
};

const Fields<FramesSettings>& frames_fields();
// Behind the name of a received frame with 'e2e': fields with the state and the last status of its receiver.
inline constexpr auto e2e_state_field = ".e2e_state", e2e_status_field = ".e2e_status";
BitSpan span_of(const BitsSettings& bits, const FrameSettings& frame);
// One frame by itself: who owns which bit.
void check_frame(const FrameSettings& frame, Problems& problems);
// The fields of all frames, each name once, in the order of the file; problems with the layout.
std::vector<FieldInfo> check_frames(const FramesSettings& settings, Problems& problems);

// The frames that the bench sends, of settings without problems.
std::vector<MessageInfo> frames_messages(const FramesSettings& settings);

// Words that the take-over memory of one frame to send needs; all of a device's together are at most take_over_words.
std::size_t words_to_take_over(std::size_t length, std::size_t pages);
inline constexpr std::size_t take_over_words = 24;
// Bytes: what one UDP datagram carries on Ethernet without being split (1500 - 20 - 8).
inline constexpr int longest_frame = 1472;

}  // namespace trackrod
