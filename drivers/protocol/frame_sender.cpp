#include <algorithm>
#include <cmath>
#include <utility>

#include "drivers/protocol/frames.hpp"

namespace trackrod {

FrameSender::FrameSender(const NamedFrames& frames, const std::vector<FieldInfo>& fields,
                         const std::optional<Located<Framing>>& framing)
    : slots_(fields.size()) {
  if (framing) {
    if (const auto* d = std::get_if<DelimiterFraming>(&framing->value)) delimiter_ = d->delimiter;
    if (const auto* idle = std::get_if<IdleGapFraming>(&framing->value)) {
      gap_ = idle->gap;
      spacing_ = std::max(idle->spacing, idle->gap);
    }
  }
  for (const auto& [name, frame] : frames) {
    FrameLayout layout{frame, fields};
    for (std::size_t i = 0; i < layout.fields().size(); ++i)
      slots_[layout.fields()[i].index] = {static_cast<std::uint16_t>(kinds_.size()), static_cast<std::uint16_t>(i),
                                          false, true};
    const bool at_once = layout.fields().empty();
    std::vector<std::byte> bytes(layout.length());
    delimited_.reserve(std::max(delimited_.capacity(), bytes.size() + delimiter_.size()));
    kinds_.push_back({std::move(layout), std::move(bytes), 0, {}, at_once});
  }
}

void FrameSender::set(FieldIndex field, double value, ProtocolCounters& counters) noexcept {
  if (field >= slots_.size() || !slots_[field].known) return;
  auto& slot = slots_[field];
  auto& kind = kinds_[slot.frame];
  const auto& packed = kind.layout.fields()[slot.field];
  if (!std::isfinite(value)) {
    ++counters.clamped;
    return;
  }
  const auto count = packed.count_of(value);
  if (count.clamped) ++counters.clamped;
  if (packed.place.read(kind.bytes) != count.bits) slot.is_sent = false;
  packed.place.write(kind.bytes, count.bits);
  kind.in_use = true;
}

std::span<const std::byte> FrameSender::due(BenchTime now) noexcept {
  if (std::exchange(gap_owed_, false)) not_before_ = now + gap_;
  if (now < not_before_) return {};
  for (std::size_t i = 0; i < kinds_.size(); ++i) {
    auto& kind = kinds_[i];
    const auto cycle = kind.layout.cycle();
    if (!kind.in_use) continue;
    // Further ahead than one cycle: never sent yet, or taken over from a process that died while it wrote the time
    // down.
    if (kind.next == BenchTime{} || kind.next - now > cycle) kind.next = now;
    if (now < kind.next) continue;
    // Missed cycles are left out, not made up for, and the phase stays.
    kind.next += cycle * ((now - kind.next) / cycle + 1);
    kind.layout.finish(kind.bytes, kind.counter++, now);
    for (const auto& field : kind.layout.fields()) slots_[field.index].is_sent = true;
    if (const auto& can = kind.layout.can()) return write_can(can->frame_of(kind.bytes), can_datagram_);
    not_before_ = now + spacing_;
    if (delimiter_.empty()) return kind.bytes;
    delimited_.assign(kind.bytes.begin(), kind.bytes.end());  // within what was reserved
    delimited_.insert(delimited_.end(), delimiter_.begin(), delimiter_.end());
    return delimited_;
  }
  return {};
}

std::vector<CanFilter> FrameSender::identifiers() const {
  std::vector<CanFilter> all;
  for (const auto& k : kinds_)
    if (const auto& can = k.layout.can()) all.push_back(can->filter());
  return all;
}

bool FrameSender::settled(FieldIndex field) const noexcept { return field < slots_.size() && slots_[field].is_sent; }

// For each frame: next counter, due time (two words), then its bytes, so that values which the other process has set
// stay.
void FrameSender::save(std::span<std::uint32_t> words) const noexcept {
  for (const auto& kind : kinds_) {
    const auto need = words_to_take_over(static_cast<int>(kind.layout.length()));
    if (words.size() < need) return;
    const auto next = static_cast<std::uint64_t>(kind.next.time_since_epoch().count());
    words[0] = kind.counter;
    words[1] = static_cast<std::uint32_t>(next);
    words[2] = static_cast<std::uint32_t>(next >> 32);
    const auto bytes = std::as_writable_bytes(words.subspan(3, need - 3));
    std::copy(kind.bytes.begin(), kind.bytes.end(), bytes.begin());
    words = words.subspan(need);
  }
}

void FrameSender::load(std::span<const std::uint32_t> words) noexcept {
  gap_owed_ = gap_ > Duration{};
  for (auto& kind : kinds_) {
    const auto need = words_to_take_over(static_cast<int>(kind.layout.length()));
    if (words.size() < need) return;
    const auto next = static_cast<std::int64_t>(words[1] | std::uint64_t{words[2]} << 32);
    if (next != 0) {  // it was in use
      kind.counter = words[0];
      kind.next = BenchTime{Duration{next}};
      const auto bytes = std::as_bytes(words.subspan(3, need - 3));
      std::copy_n(bytes.begin(), kind.bytes.size(), kind.bytes.begin());
      kind.in_use = true;
    }
    words = words.subspan(need);
  }
}

}  // namespace trackrod
