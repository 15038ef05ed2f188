// Frames that go out wrong because a fault says so. The fault acts on finished frames: what protects them is worked out
// before it is spoilt, and after the counter was made wrong.

#include <algorithm>

#include "drivers/protocol/frames.hpp"

namespace trackrod {

template <class Kinds, class Do>
void FrameSender::each_of(Kinds& kinds, const MessageFault& fault, Do act) {
  for (std::size_t i = 0; i < kinds.size(); ++i)
    if (fault.message == every_message || fault.message == i) act(kinds[i]);
}

void FrameSender::expect(const MessageFault& fault) {
  each_of(kinds_, fault, [&](Kind& kind) {
    auto apart = kind.layout.on_change().value_or(kind.layout.cycle());
    if (kind.layout.cycle() > Duration{}) apart = std::min(apart, kind.layout.cycle());
    kind.tampering.expect(fault, kind.layout.length(), apart);
    const auto longer = fault.kind == MessageFault::Kind::wrong_length ? std::max(0, fault.step) : 0;
    kind.longest = std::max(kind.longest, kind.layout.length() + static_cast<std::size_t>(longer));
    out_.reserve(std::max(out_.capacity(), together_ ? std::size_t{longest_frame} : kind.longest + delimiter_.size()));
  });
}

void FrameSender::disturb(const MessageFault& fault) noexcept {
  each_of(kinds_, fault,
          [&](Kind& kind) { kind.tampering.begin(fault, kind.layout.stepped(kind.counter, -1), kind.last); });
}

// What went wrong may never have arrived: it counts as not sent.
void FrameSender::leave(const MessageFault& fault) noexcept {
  each_of(kinds_, fault, [&](Kind& kind) {
    kind.tampering.end();
    for (auto& page : kind.pages) page.changed = true;
    for (const auto& field : kind.layout.fields()) slots_[field.index].is_sent = false;
  });
}

Disturbance FrameSender::disturbance(const MessageFault& fault) const noexcept {
  Disturbance all;
  const auto earlier = [](BenchTime& known, BenchTime other) {
    if (other != BenchTime{} && (known == BenchTime{} || other < known)) known = other;
  };
  each_of(kinds_, fault, [&](const Kind& kind) {
    earlier(all.first, kind.tampering.account().first);
    earlier(all.restored, kind.tampering.account().restored);
  });
  return all;
}

std::span<const std::byte> FrameSender::send_disturbed(Kind& kind, BenchTime now) noexcept {
  using K = MessageFault::Kind;
  auto& t = kind.tampering;
  const auto& fault = t.fault();
  if (fault.kind == K::wrong_cycle) return send_off_beat(kind, now);
  if (fault.kind == K::held_back)
    if (const auto old = t.ripe(now); !old.empty()) return old;
  if (fault.kind == K::repeated && !fault.in_place)
    if (const auto old = t.again(); !old.empty()) return t.went_wrong(now), old;
  if (fault.kind == K::babbling && kind.in_use && t.babbles(now)) return t.went_wrong(now), write_next(kind, now);
  if (!is_due(kind, now)) return {};

  take_turn(kind, now);
  if (fault.kind == K::babbling) return write_next(kind, now);
  if (fault.kind == K::repeated) {
    if (fault.in_place)
      if (const auto old = t.again(); !old.empty()) return t.went_wrong(now), old;
    const auto frame = write_next(kind, now);
    t.keep(frame);
    return frame;
  }
  t.went_wrong(now);
  if (fault.kind == K::silent) return {};
  if (fault.kind == K::miscounted) {
    kind.counter = kind.layout.after(kind.counter);
    return write(kind, t.counter = kind.layout.stepped(t.counter, fault.step), now);
  }
  const auto frame = write_next(kind, now);
  if (fault.kind == K::held_back) t.hold(frame, now + fault.time);
  if (fault.kind == K::corrupted) return kind.layout.spoil(frame), frame;
  if (fault.kind == K::wrong_length) return t.resized(frame);
  return {};
}

// At the beat of the fault instead of its own; that goes on unheard, so that the phase stays.
std::span<const std::byte> FrameSender::send_off_beat(Kind& kind, BenchTime now) noexcept {
  auto& t = kind.tampering;
  const bool due = is_due(kind, now);
  if (due) take_turn(kind, now);
  const bool goes = kind.in_use && t.beats(now);
  if (goes != due) t.went_wrong(now);
  return goes ? write_next(kind, now) : std::span<std::byte>{};
}

}  // namespace trackrod
