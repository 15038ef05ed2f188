#include "harness/engine/message_faults.hpp"

#include <utility>

namespace trackrod {

MessageFaults::MessageFaults(const Bench& bench, std::vector<Device*> devices)
    : bench_{bench}, devices_{std::move(devices)}, present_(bench.faults.size()) {}

void MessageFaults::act(std::size_t fault, bool acts) noexcept {
  auto& p = present_[fault];
  if (p.acts == acts) return;
  p.acts = acts;
  const auto& what = *of_messages(fault);
  if (acts)
    devices_[what.device]->disturb(what);
  else
    devices_[what.device]->leave(what);
}

void MessageFaults::make(std::size_t fault, BenchTime now) noexcept {
  if (of_messages(fault) == nullptr) return;
  auto& p = present_[fault];
  p = {true, p.acts, Look::begins, now, {}};
  const auto& pauses = bench_.faults[fault].comes_and_goes;
  act(fault, !pauses || pauses->there(Duration{}));
}

void MessageFaults::remove(std::size_t fault, BenchTime now, FaultNotes& notes) noexcept {
  if (of_messages(fault) == nullptr) return;
  auto& p = present_[fault];
  if (p.look == Look::begins) notes.not_shown(fault);
  p.look = p.acts && p.look != Look::begins ? Look::ends : Look::nothing;
  p.there = false;
  p.removed = now;
  act(fault, false);
}

void MessageFaults::advance(BenchTime now) noexcept {
  for (std::size_t i = 0; i < present_.size(); ++i)
    if (const auto& pauses = bench_.faults[i].comes_and_goes; present_[i].there && pauses)
      act(i, pauses->there(now - present_[i].since));
}

void MessageFaults::look(FaultNotes& notes) noexcept {
  for (std::size_t i = 0; i < present_.size(); ++i) {
    auto& p = present_[i];
    if (p.look == Look::nothing) continue;
    const auto& what = *of_messages(i);
    const auto [first, restored] = devices_[what.device]->disturbance(what);
    if (p.look == Look::begins && first >= p.since) {
      p.look = Look::nothing;
      notes.took_hold(i, first, first - p.since);
    } else if (p.look == Look::ends && restored >= p.removed) {
      p.look = Look::nothing;
      notes.let_go(i, restored, restored - p.removed);
    }
  }
}

void MessageFaults::stop(FaultNotes& notes) noexcept {
  for (std::size_t i = 0; i < present_.size(); ++i) {
    act(i, false);
    if (std::exchange(present_[i].there, false)) notes.removed(i);
    present_[i].look = Look::nothing;
  }
}

}  // namespace trackrod
