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
    auto& kind = kinds_.emplace_back(Kind{name.value, FrameLayout{frame, fields}});
    const auto& layout = kind.layout;
    if (const auto& clock = layout.stamp()) kind.clock.emplace(clock->place.bits(), clock->tick);
    if (frame.e2e) {
      kind.e2e.emplace(*layout.e2e(), limits_of(*frame.e2e));
      const auto find_field = [&fields](const std::string& wanted, FieldIndex& index) {
        const auto at =
            std::find_if(fields.begin(), fields.end(), [&](const FieldInfo& f) { return f.name == wanted; });
        index = static_cast<FieldIndex>(at - fields.begin());
        return at != fields.end();
      };
      kind.has_fields = find_field(name.value + e2e_state_field, kind.state_field) &&
                        find_field(name.value + e2e_status_field, kind.status_field);
    }
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

std::vector<CanFilter> FrameReceiver::identifiers() const {
  std::vector<CanFilter> all;
  for (const auto& k : kinds_)
    if (const auto& can = k.layout.can()) all.push_back(can->filter());
  return all;
}

std::vector<StampClock> FrameReceiver::clocks() const {
  std::vector<StampClock> all;
  for (const auto& k : kinds_)
    if (k.clock) all.push_back({k.name, *k.clock});
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
    reject(kind, frame->data, stamp, sink, counters);
    return false;
  }
  if (ours) ++counters.bad_length;
  return false;
}

std::optional<BenchTime> FrameReceiver::quiet(BenchTime now, FieldSink& sink, ProtocolCounters& counters) noexcept {
  for (auto& kind : kinds_) watch_silence(kind, now, sink, counters);
  if (!framer_) return std::nullopt;
  Messages messages{*this, sink, counters};
  framer_->quiet(now, messages);
  return messages.taken;
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
      reject(*kind, frame, stamp, sink, counters);
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
    if (skipped_++ % shortest_ == 0) {
      if (kind != nullptr)
        reject(*kind, rest.first(kind->layout.length()), stamp, sink, counters);
      else
        ++counters.bad_length;
    }
    ++at;
  }
  return at;
}

bool FrameReceiver::deliver(Kind& kind, std::span<const std::byte> frame, Stamp stamp, FieldSink& sink,
                            ProtocolCounters& counters) noexcept {
  const auto reordered = counters.reordered;
  const bool gives_values =
      kind.e2e ? check_protection(kind, frame, stamp, sink, counters) : is_new(kind, frame, counters);
  if (!gives_values) return counters.reordered != reordered;
  ++counters.good;
  if (kind.clock) stamp = kind.clock->stamp(kind.layout.stamp()->place.read(frame), stamp);
  for (const auto& field : kind.layout.fields())
    if (kind.layout.holds(field, frame)) sink.field(field.index, field.value_in(frame), stamp);
  return true;
}

bool FrameReceiver::is_new(Kind& kind, std::span<const std::byte> frame, ProtocolCounters& counters) noexcept {
  const auto& counter = kind.layout.counter();
  if (!counter) return true;
  const auto now = counter->read(frame);
  const auto ahead = (now - kind.last) & counter->mask();
  if (kind.seen && ahead == 0) {
    ++counters.repeated;
    return false;
  }
  // Datagrams may overtake each other on the way: an old one tells nothing new.
  const auto behind = (kind.last - now) & counter->mask();
  if (kind.seen && !is_stream_ && !is_can_ && behind <= overtaking_reach(counter->mask())) {
    ++counters.reordered;
    return false;
  }
  if (kind.seen) counters.lost += ahead - 1;
  kind.last = now;
  kind.seen = true;
  return true;
}

void FrameReceiver::reject(Kind& kind, std::span<const std::byte> frame, Stamp stamp, FieldSink& sink,
                           ProtocolCounters& counters) noexcept {
  ++counters.bad_checksum;
  if (!kind.e2e) return;
  const auto before = kind.e2e->state();
  kind.e2e->check(frame);
  kind.checked = stamp.when;
  tell_state(kind, before, stamp, sink, counters);
}

// A frame out of sequence is intact, and by the specification its data are not to be used.
bool FrameReceiver::check_protection(Kind& kind, std::span<const std::byte> frame, Stamp stamp, FieldSink& sink,
                                     ProtocolCounters& counters) noexcept {
  const auto before = kind.e2e->state();
  const auto status = kind.e2e->check(frame);
  kind.checked = stamp.when;
  tell_state(kind, before, stamp, sink, counters);
  counters.lost += kind.e2e->lost();
  if (status == E2eStatus::repeated) ++counters.repeated;
  if (status == E2eStatus::wrong_sequence) ++counters.wrong_sequence;
  return status != E2eStatus::repeated && status != E2eStatus::wrong_sequence;
}

// A receiver looks once in a cycle; half a cycle is left for jitter.
void FrameReceiver::watch_silence(Kind& kind, BenchTime now, FieldSink& sink, ProtocolCounters& counters) noexcept {
  const auto cycle = kind.layout.cycle();
  if (!kind.e2e || cycle == Duration{}) return;
  if (kind.checked == BenchTime{}) kind.checked = now;
  // More silence than the window holds changes nothing.
  kind.checked = std::max(kind.checked, now - cycle * (E2eReceiver::longest_window + 1));
  while (now - kind.checked > cycle + cycle / 2) {
    const auto before = kind.e2e->state();
    kind.e2e->nothing_came();
    kind.checked += cycle;
    tell_state(kind, before, {now, StampedBy::harness, {}}, sink, counters);
  }
}

void FrameReceiver::tell_state(const Kind& kind, E2eState before, Stamp stamp, FieldSink& sink,
                               ProtocolCounters& counters) noexcept {
  if (before == E2eState::valid && kind.e2e->state() == E2eState::invalid) ++counters.became_invalid;
  if (!kind.has_fields) return;
  sink.field(kind.state_field, static_cast<double>(kind.e2e->state()), stamp);
  sink.field(kind.status_field, static_cast<double>(kind.e2e->status()), stamp);
}

}  // namespace trackrod
