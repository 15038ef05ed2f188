#include "harness/capture/frame.hpp"

#include <array>
#include <cstring>

#include "harness/capture/bytes.hpp"

namespace trackrod {
namespace {

constexpr std::array<std::uint8_t, 4> magic{'T', 'R', 'J', 0xF5};
constexpr std::size_t checked_part = 24;

Bytes bytes_of(const std::string& s) { return {reinterpret_cast<const std::uint8_t*>(s.data()), s.size()}; }
std::int64_t count(BenchTime t) { return t.time_since_epoch().count(); }

BenchTime time_from(ByteReader& in) { return BenchTime{Duration{in.fixed<std::int64_t>()}}; }
std::string text_from(ByteReader& in) {
  const auto rest = in.rest();
  return {rest.begin(), rest.end()};
}

}  // namespace

std::string frame_kind_name(FrameKind kind) {
  switch (kind) {
    case FrameKind::header:
      return "stream header";
    case FrameKind::block:
      return "block";
    case FrameKind::event:
      return "event";
    case FrameKind::note:
      return "note";
    case FrameKind::gap:
      return "gap";
    case FrameKind::clock_pair:
      return "clock pair";
    case FrameKind::end:
      return "end";
    case FrameKind::left_out:
      return "left out";
  }
  return "kind " + std::to_string(static_cast<unsigned>(kind));
}

std::string make_frame(FrameKind kind, std::uint64_t sequence, const std::string& payload) {
  ByteWriter out;
  out.fixed(magic);
  out.fixed(frame_version);
  out.fixed(kind);
  out.fixed(static_cast<std::uint32_t>(payload.size()));
  out.fixed(sequence);
  out.fixed(crc32c(bytes_of(payload)));
  auto frame = out.take();
  ByteWriter checksum;
  checksum.fixed(crc32c(bytes_of(frame)));
  return frame + checksum.take() + payload;
}

std::optional<FrameHeader> parse_frame_header(Bytes bytes) {
  if (bytes.size() < frame_header_size || std::memcmp(bytes.data(), magic.data(), magic.size()) != 0)
    return std::nullopt;
  ByteReader in{bytes.subspan(magic.size(), frame_header_size - magic.size())};
  FrameHeader h;
  h.version = in.fixed<std::uint16_t>();
  h.kind = in.fixed<FrameKind>();
  h.length = in.fixed<std::uint32_t>();
  h.sequence = in.fixed<std::uint64_t>();
  h.payload_checksum = in.fixed<std::uint32_t>();
  if (in.fixed<std::uint32_t>() != crc32c(bytes.first(checked_part)) || h.length > longest_payload) return std::nullopt;
  return h;
}

std::size_t find_magic(Bytes bytes) {
  for (std::size_t i = 0; i < bytes.size(); ++i) {
    const auto seen = std::min(magic.size(), bytes.size() - i);
    if (std::memcmp(bytes.data() + i, magic.data(), seen) == 0) return i;
  }
  return bytes.size();
}

std::string encode_event(const Event& event) {
  ByteWriter out;
  out.fixed(count(event.when));
  out.fixed(event.value);
  out.fixed(event.a);
  out.fixed(event.b);
  out.fixed(event.kind);
  return out.take();
}

std::optional<Event> decode_event(Bytes payload) {
  ByteReader in{payload};
  Event e;
  e.when = time_from(in);
  e.value = in.fixed<double>();
  e.a = in.fixed<std::uint32_t>();
  e.b = in.fixed<std::uint32_t>();
  e.kind = in.fixed<EventKind>();
  return in.finished() ? std::optional{e} : std::nullopt;
}

std::string encode_note(const Note& note) {
  ByteWriter out;
  out.fixed(count(note.when));
  out.fixed(note.device);
  out.text(note.text);
  return out.take();
}

std::optional<Note> decode_note(Bytes payload) {
  ByteReader in{payload};
  Note n;
  n.when = time_from(in);
  n.device = in.fixed<std::uint32_t>();
  n.text = text_from(in);
  return in.finished() ? std::optional{n} : std::nullopt;
}

std::string encode_gap(const Gap& gap) {
  ByteWriter out;
  out.fixed(count(gap.from));
  out.fixed(count(gap.to));
  out.fixed(gap.count);
  out.text(gap.why);
  return out.take();
}

std::optional<Gap> decode_gap(Bytes payload) {
  ByteReader in{payload};
  Gap g;
  g.from = time_from(in);
  g.to = time_from(in);
  g.count = in.fixed<std::uint64_t>();
  g.why = text_from(in);
  return in.finished() ? std::optional{g} : std::nullopt;
}

std::string encode_clock_pair(const ClockPair& pair) {
  ByteWriter out;
  out.fixed(count(pair.bench));
  out.fixed(pair.wall_ns);
  return out.take();
}

std::optional<ClockPair> decode_clock_pair(Bytes payload) {
  ByteReader in{payload};
  ClockPair p;
  p.bench = time_from(in);
  p.wall_ns = in.fixed<std::int64_t>();
  return in.finished() ? std::optional{p} : std::nullopt;
}

std::string encode_end(const RunEnd& end) {
  ByteWriter out;
  out.fixed(count(end.when));
  out.fixed(end.samples);
  out.fixed(end.ticks);
  out.fixed(end.events);
  out.fixed(std::int64_t{end.longest_unsynced.count()});
  out.text(end.why);
  return out.take();
}

std::optional<RunEnd> decode_end(Bytes payload) {
  ByteReader in{payload};
  RunEnd e;
  e.when = time_from(in);
  e.samples = in.fixed<std::uint64_t>();
  e.ticks = in.fixed<std::uint64_t>();
  e.events = in.fixed<std::uint64_t>();
  e.longest_unsynced = Duration{in.fixed<std::int64_t>()};
  e.why = text_from(in);
  return in.finished() ? std::optional{e} : std::nullopt;
}

std::string encode_left_out(const LeftOutFrames& left_out) {
  const auto& w = left_out.what;
  ByteWriter out;
  out.fixed(left_out.frames);
  out.fixed(count(w.from));
  out.fixed(count(w.to));
  for (const auto number : {w.samples, w.ticks, w.missed}) out.fixed(number);
  out.fixed(w.first_tick);
  out.fixed(w.last_tick);
  for (const auto time : {w.late_max, w.work_max, w.input_age_max}) out.fixed(std::int64_t{time.count()});
  return out.take();
}

std::optional<LeftOutFrames> decode_left_out(Bytes payload) {
  ByteReader in{payload};
  LeftOutFrames l;
  auto& w = l.what;
  l.frames = in.fixed<std::uint64_t>();
  w.from = time_from(in);
  w.to = time_from(in);
  for (auto* number : {&w.samples, &w.ticks, &w.missed}) *number = in.fixed<std::uint64_t>();
  w.first_tick = in.fixed<std::uint32_t>();
  w.last_tick = in.fixed<std::uint32_t>();
  for (auto* time : {&w.late_max, &w.work_max, &w.input_age_max}) *time = Duration{in.fixed<std::int64_t>()};
  return in.finished() && l.frames > 0 ? std::optional{l} : std::nullopt;
}

}  // namespace trackrod
