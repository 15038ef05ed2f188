#pragma once
// What a bench file says about bit-packed frames: kind "frames".

#include <cstddef>
#include <cstdint>
#include <optional>
#include <string>
#include <utility>
#include <vector>

#include "drivers/protocol/bits.hpp"
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
  std::optional<CanPlace> can;  // on a CAN bus
  std::vector<std::pair<Name, FieldSettings>> fields;
  Duration cycle{std::chrono::milliseconds{1}};
};
using NamedFrames = std::vector<std::pair<Name, FrameSettings>>;

struct FramesSettings {
  bool stream{false};
  std::optional<Located<Framing>> framing;  // of a stream; empty: by match and checksum
  NamedFrames receive, send;                // as the bench sees them
};

const Fields<FramesSettings>& frames_fields();
BitSpan span_of(const BitsSettings& bits, const FrameSettings& frame);
// The fields of all frames, each name once, in the order of the file; problems with the layout.
std::vector<FieldInfo> check_frames(const FramesSettings& settings, Problems& problems);

// Words that the take-over memory of one frame to send needs; all of a device's together are at most take_over_words.
std::size_t words_to_take_over(int length);
inline constexpr std::size_t take_over_words = 24;

}  // namespace trackrod
