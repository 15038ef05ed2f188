#pragma once
// The frames of the live journal: header, checksum and the small payloads. The format: docs/formats/journal.md.

#include <cstddef>
#include <cstdint>
#include <optional>
#include <span>
#include <string>

#include "harness/capture/crc32c.hpp"
#include "harness/capture/record.hpp"
#include "harness/capture/stream_header.hpp"
#include "harness/capture/view.hpp"

namespace trackrod {

using Bytes = std::span<const std::uint8_t>;

enum class FrameKind : std::uint16_t { header = 1, block, event, note, gap, clock_pair, end, left_out };
std::string frame_kind_name(FrameKind kind);

struct FrameHeader {
  std::uint16_t version{0};
  FrameKind kind{};
  std::uint32_t length{0};  // of the payload
  std::uint64_t sequence{0};
  std::uint32_t payload_checksum{0};
};

inline constexpr std::size_t frame_header_size = 28;
inline constexpr std::uint16_t frame_version = 1;
inline constexpr std::uint32_t longest_payload = 16U << 20;

// The whole frame: header and payload.
std::string make_frame(FrameKind kind, std::uint64_t sequence, const std::string& payload);
// The header at the start of `bytes`; empty when they are too few, or magic, checksum or length is wrong.
std::optional<FrameHeader> parse_frame_header(Bytes bytes);
// Where the next magic begins, whole or cut off by the end of `bytes`; bytes.size() when nowhere.
std::size_t find_magic(Bytes bytes);

// What the end frame says.
struct RunEnd {
  BenchTime when{};
  std::uint64_t samples{0}, ticks{0}, events{0};
  Duration longest_unsynced{};  // the longest that written frames had to wait for a completed sync
  std::string why;
};

// What stands in the place of blocks that were left out. Its frame bears the sequence of the first of them.
struct LeftOutFrames {
  std::uint64_t frames{0};
  LeftOut what;
};

std::string encode_event(const Event& event);
std::string encode_note(const Note& note);
std::string encode_gap(const Gap& gap);
std::string encode_clock_pair(const ClockPair& pair);
std::string encode_end(const RunEnd& end);
std::string encode_left_out(const LeftOutFrames& left_out);
// Empty when the payload is not of this kind.
std::optional<Event> decode_event(Bytes payload);
std::optional<Note> decode_note(Bytes payload);
std::optional<Gap> decode_gap(Bytes payload);
std::optional<ClockPair> decode_clock_pair(Bytes payload);
std::optional<RunEnd> decode_end(Bytes payload);
std::optional<LeftOutFrames> decode_left_out(Bytes payload);

}  // namespace trackrod
