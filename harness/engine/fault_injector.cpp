#include "harness/engine/fault_injector.hpp"

#include <algorithm>
#include <cmath>
#include <utility>

namespace trackrod {

FaultInjector::FaultInjector(const Bench& bench, const Timeline& timeline, std::vector<Device*> devices)
    : bench_{bench},
      present_(bench.faults.size()),
      by_signal_(bench.signals.size()),
      messages_{bench, std::move(devices)} {
  std::size_t most = 0;
  for (const auto& step : timeline.steps()) most = std::max(most, step.injections.size());
  planned_.resize(most);
  for (std::size_t i = 0; i < bench.faults.size(); ++i) {
    const auto* of_value = std::get_if<SignalFault>(&bench.faults[i].way);
    if (of_value == nullptr) continue;
    const auto& way = *of_value;
    by_signal_[way.signal].push_back(i);
    if (way.kind == SignalFault::Kind::swapped) by_signal_[way.other].push_back(i);
    if (way.kind != SignalFault::Kind::late) continue;
    const auto ticks = static_cast<std::size_t>((way.delay + bench.tick / 2) / bench.tick);
    past_.push_back({i, std::vector<double>(std::max<std::size_t>(1, ticks), NAN), 0});
  }
}

// ---- made and removed --------------------------------------------------------------------------

void FaultInjector::begin_step(const TimelineStep& step, BenchTime at) noexcept {
  step_began_ = at;
  planned_count_ = step.injections.size();
  for (std::size_t i = 0; i < planned_count_; ++i) planned_[i] = {&step.injections[i], Course::waiting, true};
}

void FaultInjector::advance(BenchTime now, const LiveValues& live, FaultNotes& notes) noexcept {
  for (std::size_t i = 0; i < planned_count_; ++i) {
    auto& p = planned_[i];
    const auto& injection = *p.injection;
    const auto elapsed = now - step_began_;
    if (p.course == Course::waiting && elapsed >= injection.from) {
      p.course = Course::armed;
      if (!injection.when) make(p, now, notes);
    }
    if (p.course == Course::armed && injection.when) {
      const double value = live.value(injection.when->signal);
      const bool is_true = injection.when->met_by(value);
      if (is_true && !p.was_true) make(p, now, notes);
      if (std::isfinite(value)) p.was_true = is_true;
      if (p.course == Course::armed && elapsed >= injection.from + injection.within) {
        p.course = Course::over;
        notes.not_made(injection.fault);
      }
    }
    if (p.course == Course::there && now - present_[injection.fault].since >= injection.lasts) {
      p.course = Course::over;
      remove(injection.fault, now, notes);
    }
  }
  messages_.advance(now);
}

void FaultInjector::end_step(BenchTime now, FaultNotes& notes) noexcept {
  for (std::size_t i = 0; i < planned_count_; ++i) {
    const auto& p = planned_[i];
    if (p.course == Course::there) remove(p.injection->fault, now, notes);
    if (p.course == Course::waiting || p.course == Course::armed) notes.not_made(p.injection->fault);
  }
  planned_count_ = 0;
}

void FaultInjector::stop(FaultNotes& notes) noexcept {
  messages_.stop(notes);
  planned_count_ = 0;
  for (auto& p : present_) p.there = false, p.look = Look::nothing;
}

bool FaultInjector::touches(SignalIndex signal) const noexcept {
  return std::ranges::any_of(by_signal_[signal], [&](std::size_t fault) { return present_[fault].there; });
}

void FaultInjector::make(Planned& planned, BenchTime now, FaultNotes& notes) noexcept {
  planned.course = Course::there;
  auto& p = present_[planned.injection->fault];
  p.there = true;
  p.held_known = false;
  p.since = now;
  p.look = Look::appears;
  if (const auto* of_value = std::get_if<SignalFault>(&bench_.faults[planned.injection->fault].way))
    p.random.seed(of_value->seed);
  messages_.make(planned.injection->fault, now);
  notes.made(planned.injection->fault);
}

void FaultInjector::remove(std::size_t fault, BenchTime now, FaultNotes& notes) noexcept {
  auto& p = present_[fault];
  if (p.look == Look::appears && bench_.faults[fault].shows) notes.not_shown(fault);
  p.there = false;
  p.removed = now;
  p.look = Look::disappears;
  messages_.remove(fault, now, notes);
  notes.removed(fault);
}

void FaultInjector::watch(BenchTime now, const LiveValues& live, FaultNotes& notes) noexcept {
  for (std::size_t i = 0; i < present_.size(); ++i) {
    auto& p = present_[i];
    const auto& spec = bench_.faults[i];
    if (p.look == Look::nothing || !spec.shows) continue;
    const auto& latest = live.latest(spec.shows->signal);
    const double value = live.value(spec.shows->signal);
    const auto began = p.look == Look::appears ? p.since : p.removed;
    const bool fresh = latest.when > began, met = spec.shows->met_by(value);
    if (p.look == Look::appears) {
      if (fresh && met) {
        p.look = Look::nothing;
        notes.shown(i, latest.when, latest.when - began);
      } else if (now - began > spec.shows_within) {
        p.look = Look::nothing;
        notes.not_shown(i);
      }
    } else if (fresh && std::isfinite(value) && !met) {
      p.look = Look::nothing;
      notes.gone(i, latest.when, latest.when - began);
    } else if (now - began > spec.shows_within) {
      p.look = Look::nothing;
      notes.remains(i, value);
    }
  }
}

// ---- what is sent ------------------------------------------------------------------------------

double FaultInjector::distorted(SignalIndex signal, std::span<const double> all, double sent, BenchTime now) noexcept {
  double value = all[signal];
  for (const auto fault : by_signal_[signal]) value = distort(fault, signal, value, all, sent, now);
  return value;
}

bool FaultInjector::jumps(SignalIndex signal, BenchTime now) const noexcept {
  return std::ranges::any_of(by_signal_[signal], [&](std::size_t fault) {
    return std::get_if<SignalFault>(&bench_.faults[fault].way)->jumps &&
           (present_[fault].there || present_[fault].removed == now);
  });
}

double FaultInjector::distort(std::size_t fault, SignalIndex signal, double wanted, std::span<const double> all,
                              double sent, BenchTime now) noexcept {
  using K = SignalFault::Kind;
  const auto& spec = bench_.faults[fault];
  const auto& way = *std::get_if<SignalFault>(&spec.way);  // by_signal_ has no others
  auto& p = present_[fault];
  double before = wanted;  // of a late one
  if (way.kind == K::late) {
    auto& past = *std::ranges::find(past_, fault, &Past::fault);
    before = past.values[past.next];
    past.values[past.next] = wanted;
    past.next = (past.next + 1) % past.values.size();
  }
  if (!p.there) return wanted;
  if (spec.comes_and_goes && !spec.comes_and_goes->there(now - p.since)) return wanted;
  if (!p.held_known) p.held = sent, p.held_known = true;
  const double elapsed = seconds(now - p.since);
  switch (way.kind) {
    case K::set:
      return way.value;
    case K::stuck:
      return p.held;
    case K::offset:
      return wanted + way.value;
    case K::gain:
      return wanted * way.value;
    case K::drift:
      return wanted + way.value * elapsed;
    case K::ramp:
      return std::clamp(way.value, p.held - way.rate * elapsed, p.held + way.rate * elapsed);
    case K::noise:
      return wanted + std::normal_distribution<double>{0.0, way.value}(p.random);
    case K::late:
      return std::isfinite(before) ? before : wanted;
    case K::inverted:
      return -wanted;
    case K::swapped:
      return all[signal == way.signal ? way.other : way.signal];
  }
  return wanted;
}

}  // namespace trackrod
