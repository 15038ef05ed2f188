#include <algorithm>

#include "drivers/protocol/frames.hpp"

namespace trackrod {
namespace {

// How many steps back of an alive counter are taken for a frame that was overtaken, and not for a long gap: few, and at
// most an eighth of the counter's turn.
std::uint64_t overtaking_reach(std::uint64_t mask) noexcept { return std::min<std::uint64_t>(3, (mask + 1) / 8); }

}  // namespace

// Whole messages out of a stream hold frames as datagrams do.
class FrameReceiver::Messages final : public MessageSink {
 public:
  Messages(FrameReceiver& receiver, FieldSink& sink, ProtocolCounters& counters)
      : receiver_{receiver}, sink_{sink}, counters_{counters} {}
  bool message(std::span<const std::byte> bytes, Stamp stamp) noexcept override {
    const auto bad = counters_.bad_checksum + counters_.bad_length;
    if (receiver_.datagram(bytes, stamp, sink_, counters_)) taken = stamp.when;
    return counters_.bad_checksum + counters_.bad_length == bad;
  }
  void garbage() noexcept override { ++counters_.bad_length; }

  std::optional<BenchTime> taken;

 private:
  FrameReceiver& receiver_;
  FieldSink& sink_;
  ProtocolCounters& counters_;
};

FrameReceiver::FrameReceiver(const NamedFrames& frames, const std::vector<FieldInfo>& fields, bool stream,
                             const std::optional<Located<Framing>>& framing)
    : is_stream_{stream} {
  for (const auto& [name, frame] : frames) {
    auto& kind = kinds_.emplace_back(Kind{FrameLayout{frame, fields}});
    const auto& layout = kind.layout;
    if (const auto& clock = layout.stamp()) kind.clock.emplace(clock->place.bits(), clock->tick);
    is_can_ = is_can_ || layout.can();
    shortest_ = shortest_ == 0 ? layout.length() : std::min(shortest_, layout.length());
    longest_ = std::max(longest_, layout.length());
    match_end_ = std::max(match_end_, layout.match_end());
  }
  if (is_stream_) kept_.resize(2 * longest_);
  // Gaps that are too short to be seen leave several frames in one message.
  constexpr std::size_t frames_in_a_row = 8;
  if (framing && std::holds_alternative<IdleGapFraming>(framing->value))
    framer_.emplace(framing->value, frames_in_a_row * longest_);
  else if (framing)
    framer_.emplace(framing->value, longest_);
}

FrameReceiver::Kind* FrameReceiver::find(std::span<const std::byte> bytes) noexcept {
  for (auto& k : kinds_)
    if (bytes.size() >= k.layout.match_end() && k.layout.matches(bytes)) return &k;
  return nullptr;
}

bool FrameReceiver::take(std::span<const std::byte> bytes, Stamp stamp, FieldSink& sink,
                         ProtocolCounters& counters) noexcept {
  if (kinds_.empty()) return false;
  if (is_can_) return can_frame(bytes, stamp, sink, counters);
  if (!is_stream_) return datagram(bytes, stamp, sink, counters);
  if (framer_) {
    Messages messages{*this, sink, counters};
    framer_->take(bytes, stamp, messages);
    return messages.taken.has_value();
  }
  bool taken = false;
  while (!bytes.empty()) {
    const auto piece = std::min(bytes.size(), kept_.size() - kept_size_);
    std::copy_n(bytes.begin(), piece, kept_.begin() + static_cast<std::ptrdiff_t>(kept_size_));
    kept_size_ += piece;
    bytes = bytes.subspan(piece);
    const auto done = stream({kept_.data(), kept_size_}, stamp, sink, counters, taken);
    std::copy(kept_.begin() + static_cast<std::ptrdiff_t>(done),
              kept_.begin() + static_cast<std::ptrdiff_t>(kept_size_), kept_.begin());
    kept_size_ -= done;  // less than one frame is left, so that there is room again
  }
  return taken;
}

std::optional<BenchTime> FrameReceiver::quiet(BenchTime now, FieldSink& sink, ProtocolCounters& counters) noexcept {
  if (!framer_) return std::nullopt;
  Messages messages{*this, sink, counters};
  framer_->quiet(now, messages);
  return messages.taken;
}

std::vector<CanFilter> FrameReceiver::identifiers() const {
  std::vector<CanFilter> all;
  for (const auto& k : kinds_)
    if (const auto& can = k.layout.can()) all.push_back(can->filter());
  return all;
}

// A bus carries frames of others too; those with identifiers of ours must look as they should.
bool FrameReceiver::can_frame(std::span<const std::byte> bytes, Stamp stamp, FieldSink& sink,
                              ProtocolCounters& counters) noexcept {
  const auto frame = read_can(bytes);
  if (!frame || frame->error || frame->remote) return false;
  bool ours = false;
  for (auto& kind : kinds_) {
    const auto& layout = kind.layout;
    if (!layout.can() || !layout.can()->holds(*frame)) continue;
    ours = true;
    if (frame->data.size() != layout.length() || !layout.matches(frame->data)) continue;
    if (layout.intact(frame->data)) return deliver(kind, frame->data, stamp, sink, counters);
    ++counters.bad_checksum;
    return false;
  }
  if (ours) ++counters.bad_length;
  return false;
}

// Frames stand one behind the other from the first byte on, so a damaged one is stepped over as a whole.
bool FrameReceiver::datagram(std::span<const std::byte> bytes, Stamp stamp, FieldSink& sink,
                             ProtocolCounters& counters) noexcept {
  bool taken = false;
  do {
    auto* kind = find(bytes);
    if (kind == nullptr || bytes.size() < kind->layout.length()) {
      ++counters.bad_length;
      break;
    }
    const auto frame = bytes.first(kind->layout.length());
    if (kind->layout.intact(frame)) {
      taken = deliver(*kind, frame, stamp, sink, counters) || taken;
    } else {
      ++counters.bad_checksum;
    }
    bytes = bytes.subspan(frame.size());
  } while (!bytes.empty());
  return taken;
}

// A rejected frame may hold the beginning of a good one, so only one byte of it is skipped. Each frame length of
// skipped bytes counts as one bad message. Returns how many bytes are done with.
std::size_t FrameReceiver::stream(std::span<const std::byte> bytes, Stamp stamp, FieldSink& sink,
                                  ProtocolCounters& counters, bool& taken) noexcept {
  std::size_t at = 0;
  while (at < bytes.size()) {
    const auto rest = bytes.subspan(at);
    auto* kind = find(rest);
    if (rest.size() < (kind != nullptr ? kind->layout.length() : match_end_)) break;
    if (kind != nullptr && kind->layout.intact(rest.first(kind->layout.length()))) {
      const auto frame = rest.first(kind->layout.length());
      taken = deliver(*kind, frame, stamp, sink, counters) || taken;
      at += frame.size();
      skipped_ = 0;
      continue;
    }
    if (skipped_++ % shortest_ == 0) ++(kind != nullptr ? counters.bad_checksum : counters.bad_length);
    ++at;
  }
  return at;
}

bool FrameReceiver::deliver(Kind& kind, std::span<const std::byte> frame, Stamp stamp, FieldSink& sink,
                            ProtocolCounters& counters) noexcept {
  if (const auto& counter = kind.layout.counter()) {
    const auto now = counter->read(frame);
    const auto ahead = (now - kind.last) & counter->mask();
    if (kind.seen && ahead == 0) {
      ++counters.repeated;
      return false;
    }
    // Datagrams may overtake each other on the way: an old one tells nothing new.
    const auto behind = (kind.last - now) & counter->mask();
    if (kind.seen && !is_stream_ && behind <= overtaking_reach(counter->mask())) {
      ++counters.reordered;
      return true;
    }
    if (kind.seen) counters.lost += ahead - 1;
    kind.last = now;
    kind.seen = true;
  }
  ++counters.good;
  if (kind.clock) stamp = kind.clock->stamp(kind.layout.stamp()->place.read(frame), stamp);
  for (const auto& field : kind.layout.fields()) sink.field(field.index, field.value_in(frame), stamp);
  return true;
}

}  // namespace trackrod
