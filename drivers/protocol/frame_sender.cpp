#include <algorithm>
#include <cmath>
#include <utility>

#include "drivers/protocol/frames.hpp"

namespace trackrod {

FrameSender::FrameSender(const NamedFrames& frames, const std::vector<FieldInfo>& fields,
                         const std::optional<Located<Framing>>& framing, bool together)
    : slots_(fields.size()), together_{together} {
  if (framing) {
    if (const auto* d = std::get_if<DelimiterFraming>(&framing->value)) delimiter_ = d->delimiter;
    if (const auto* idle = std::get_if<IdleGapFraming>(&framing->value)) {
      gap_ = idle->gap;
      spacing_ = std::max(idle->spacing, idle->gap);
    }
  }
  std::size_t longest = 0, all = 0;
  for (const auto& [name, frame] : frames) {
    FrameLayout layout{frame, fields};
    for (std::size_t i = 0; i < layout.fields().size(); ++i)
      slots_[layout.fields()[i].index] = {static_cast<std::uint16_t>(kinds_.size()), static_cast<std::uint16_t>(i),
                                          false, true};
    const bool at_once = layout.fields().empty();
    longest = std::max(longest, layout.length() + delimiter_.size());
    all += layout.length();
    Kind kind{std::move(layout)};
    for (const auto page : kind.layout.pages()) {
      kind.pages.push_back({std::vector<std::byte>(kind.layout.length()), at_once});
      if (const auto& selector = kind.layout.selector()) selector->write(kind.pages.back().bytes, page);
    }
    kind.counter = kind.layout.first_counter();
    kind.in_use = at_once;
    kinds_.push_back(std::move(kind));
  }
  out_.reserve(together_ ? std::max<std::size_t>(longest, std::min<std::size_t>(all, longest_frame)) : longest);
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
  for (auto& page : kind.pages) {
    if (!kind.layout.holds(packed, page.bytes)) continue;
    if (packed.place.read(page.bytes) != count.bits) {
      slot.is_sent = false;
      page.changed = true;
    }
    packed.place.write(page.bytes, count.bits);
    if (!kind.in_use) page.changed = true;  // a first value of 0 is one too
  }
  kind.in_use = true;
}

std::span<const std::byte> FrameSender::due(BenchTime now) noexcept {
  if (std::exchange(gap_owed_, false)) not_before_ = now + gap_;
  if (now < not_before_) return {};
  out_.clear();
  for (auto& kind : kinds_) {
    const bool disturbed = kind.tampering.there();
    if (!disturbed && !is_due(kind, now)) continue;
    if (together_ && out_.size() + kind.longest > longest_frame) break;
    const auto bytes = disturbed ? send_disturbed(kind, now) : send(kind, now);
    if (bytes.empty()) continue;
    if (const auto& can = kind.layout.can()) return write_can(can->frame_of(bytes), can_datagram_);
    not_before_ = now + spacing_;
    if (!together_ && delimiter_.empty()) return bytes;
    out_.insert(out_.end(), bytes.begin(), bytes.end());  // within what was reserved
    out_.insert(out_.end(), delimiter_.begin(), delimiter_.end());
    if (!together_) break;
  }
  return out_;
}

bool FrameSender::is_due(Kind& kind, BenchTime now) noexcept {
  if (!kind.in_use) return false;
  const auto& layout = kind.layout;
  const auto cycle = layout.cycle();
  if (cycle > Duration{}) {
    // Further ahead than one cycle: never sent yet, or taken over from a process that died while it wrote the time
    // down.
    if (kind.next == BenchTime{} || kind.next - now > cycle) {
      kind.next = now;
      if (layout.phase())
        if (const auto past = (now.time_since_epoch() - *layout.phase()) % cycle; past != Duration{})
          kind.next += past < Duration{} ? -past : cycle - past;
    }
    if (now >= kind.next) return true;
  }
  if (!layout.on_change() || (kind.last != BenchTime{} && now - kind.last < *layout.on_change())) return false;
  return std::any_of(kind.pages.begin(), kind.pages.end(), [](const Page& page) { return page.changed; });
}

void FrameSender::take_turn(Kind& kind, BenchTime now) noexcept {
  const auto cycle = kind.layout.cycle();
  if (cycle > Duration{} && now >= kind.next) {
    // Missed cycles are left out, not made up for, and the phase stays.
    kind.next += cycle * ((now - kind.next) / cycle + 1);
  } else {
    const auto changed = std::find_if(kind.pages.begin(), kind.pages.end(), [](const Page& p) { return p.changed; });
    kind.turn = static_cast<std::size_t>(changed - kind.pages.begin());
    if (cycle == Duration{}) kind.next = now;
  }
  kind.last = now;
  kind.pages[kind.turn].changed = false;
}

std::span<std::byte> FrameSender::write(Kind& kind, std::uint32_t counter, BenchTime now) noexcept {
  auto& page = kind.pages[kind.turn];
  kind.turn = (kind.turn + 1) % kind.pages.size();
  kind.layout.finish(page.bytes, counter, now);
  for (const auto& field : kind.layout.fields())
    if (kind.layout.holds(field, page.bytes)) slots_[field.index].is_sent = true;
  return page.bytes;
}

std::span<std::byte> FrameSender::write_next(Kind& kind, BenchTime now) noexcept {
  const auto counter = std::exchange(kind.counter, kind.layout.after(kind.counter));
  return write(kind, counter, now);
}

std::span<std::byte> FrameSender::send(Kind& kind, BenchTime now) noexcept {
  take_turn(kind, now);
  kind.tampering.went_right(now);
  return write_next(kind, now);
}

std::vector<CanFilter> FrameSender::identifiers() const {
  std::vector<CanFilter> all;
  for (const auto& k : kinds_)
    if (const auto& can = k.layout.can()) all.push_back(can->filter());
  return all;
}

bool FrameSender::settled(FieldIndex field) const noexcept {
  return field < slots_.size() && slots_[field].is_sent && !kinds_[slots_[field].frame].tampering.there();
}

// For each frame: next counter, due time (two words), then its bytes on each page, so that values which the other
// process has set stay.
void FrameSender::save(std::span<std::uint32_t> words) const noexcept {
  for (const auto& kind : kinds_) {
    const auto need = words_to_take_over(kind.layout.length(), kind.pages.size());
    if (words.size() < need) return;
    const auto next = static_cast<std::uint64_t>(kind.next.time_since_epoch().count());
    words[0] = kind.counter;
    words[1] = static_cast<std::uint32_t>(next);
    words[2] = static_cast<std::uint32_t>(next >> 32);
    const auto each = (need - 3) / kind.pages.size();
    for (std::size_t i = 0; i < kind.pages.size(); ++i) {
      const auto bytes = std::as_writable_bytes(words.subspan(3 + i * each, each));
      std::copy(kind.pages[i].bytes.begin(), kind.pages[i].bytes.end(), bytes.begin());
    }
    words = words.subspan(need);
  }
}

void FrameSender::load(std::span<const std::uint32_t> words) noexcept {
  gap_owed_ = gap_ > Duration{};
  for (auto& kind : kinds_) {
    const auto need = words_to_take_over(kind.layout.length(), kind.pages.size());
    if (words.size() < need) return;
    const auto next = static_cast<std::int64_t>(words[1] | std::uint64_t{words[2]} << 32);
    if (next != 0) {  // it was in use
      kind.counter = words[0];
      kind.next = BenchTime{Duration{next}};
      const auto each = (need - 3) / kind.pages.size();
      for (std::size_t i = 0; i < kind.pages.size(); ++i) {
        auto& page = kind.pages[i];
        const auto bytes = std::as_bytes(words.subspan(3 + i * each, each));
        std::copy_n(bytes.begin(), page.bytes.size(), page.bytes.begin());
        page.changed = true;  // nobody knows whether the last change was sent
      }
      kind.in_use = true;
    }
    words = words.subspan(need);
  }
}

}  // namespace trackrod
