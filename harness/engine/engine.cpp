#include "harness/engine/engine.hpp"

#include <algorithm>
#include <cmath>

namespace trackrod {
namespace {

using namespace std::chrono_literals;

constexpr Duration listen_limit = 3s;      // for every device to be heard before arming
constexpr Duration identity_limit = 10s;   // for every device to say what it is
constexpr Duration inspection_limit = 5s;  // for every device to say anew what it is, and what its fault memory holds
constexpr Duration look_on_for = 2s;       // after a trip, from its instant on
constexpr Duration any_jump = 1h;          // in which a signal may have come from anywhere
constexpr int most_steps_a_tick = 1000;    // a plan of steps without length must not stop the loop
constexpr std::uint64_t most_lag_ticks =
    2;  // after missed ticks a setpoint catches up at the slew limit, it does not jump

}  // namespace

Engine::Engine(EngineParts parts)
    : parts_{std::move(parts)},
      live_{parts_.bench},
      interlocks_{parts_.bench.interlocks},
      faults_{parts_.bench, parts_.timeline, parts_.devices},
      load_{parts_.bench},
      lists_{parts_.bench, parts_.timeline, parts_.devices},
      arming_{parts_.bench.arming, OnFailure::stop},
      safing_{parts_.bench.safe_state.actions, OnFailure::go_on},
      cursor_{parts_.timeline},
      ahead_{parts_.timeline},
      wanted_(parts_.bench.signals.size()),
      limited_(parts_.bench.signals.size()),
      failing_(parts_.devices.size()),
      link_gone_(parts_.devices.size()) {
  for (std::size_t i = 0; i < parts_.bench.signals.size(); ++i) {
    if (parts_.bench.signals[i].info.direction != Direction::drive) continue;
    drives_.push_back(static_cast<SignalIndex>(i));
    wanted_[i] = parts_.bench.signals[i].rest;
  }
  sent_ = wanted_;
}

bool Engine::tick(BenchTime due, BenchTime woke) noexcept {
  if (phase_ == Phase::over) return false;
  stood_still_ = last_due_ == BenchTime::min() ? Duration{} : woke - now_;
  now_ = woke;
  due_ = due;
  if (last_due_ == BenchTime::min()) {
    last_due_ = due - parts_.bench.tick;
    phase_since_ = due;
    event(EventKind::state_changed, static_cast<std::uint32_t>(state_), static_cast<std::uint32_t>(state_));
  }
  parts_.inputs.deliver(woke, *this);
  watch_devices(woke);
  watch_for_trips(woke);
  advance(due);
  faults_.watch(woke, live_, *this);
  send(due);
  faults_.look_at_messages(*this);

  const auto ticks = static_cast<std::uint32_t>((due - last_due_) / parts_.bench.tick);
  tick_number_ += ticks;
  const auto done = parts_.time.now();
  record_sent(done);
  parts_.minder.beat(done, state_, sent_, parts_.devices);
  Duration oldest{};
  for (std::size_t d = 0; d < parts_.devices.size(); ++d)
    if (!live_.lost(d)) oldest = std::max(oldest, woke - parts_.devices[d]->last_heard());
  const auto in_32_bits = [](Duration d) {
    return static_cast<std::uint32_t>(std::clamp<Duration::rep>(d.count(), 0, UINT32_MAX - 1));
  };
  record(Tick{due, tick_number_ - 1, in_32_bits(woke - due), in_32_bits(done - woke), in_32_bits(oldest)});
  last_due_ = due;
  return phase_ != Phase::over;
}

// ---- inputs ------------------------------------------------------------------------------------

void Engine::put(const Sample& sample) noexcept {
  live_.take(sample);
  record(sample);
}

void Engine::link_lost(std::uint16_t device, int error) noexcept {
  if (link_gone_[device]) return;
  link_gone_[device] = true;
  event(EventKind::device_lost, device, static_cast<std::uint32_t>(error));
  live_.set_lost(device, true);
}

void Engine::watch_devices(BenchTime now) noexcept {
  for (std::size_t d = 0; d < parts_.devices.size(); ++d) {
    const auto heard = parts_.devices[d]->last_heard();
    const bool lost = link_gone_[d] || heard == BenchTime{} || now - heard > parts_.bench.devices[d].timeout;
    if (lost != live_.lost(d))
      event(lost ? EventKind::device_lost : EventKind::device_back, static_cast<std::uint32_t>(d));
    live_.set_lost(d, lost);
    if (const auto code = parts_.devices[d]->take_message(); code != 0) {
      const auto window = parts_.devices[d]->message_window();
      record(Event{window.by == BenchTime{} ? now_ : window.by,
                   window.after == BenchTime{} ? 0.0 : seconds(window.by - window.after), static_cast<std::uint32_t>(d),
                   code, EventKind::device_message});
    }
  }
  if (const auto dropped = parts_.inputs.dropped(); dropped != dropped_arrivals_) {
    event(EventKind::arrivals_dropped, static_cast<std::uint32_t>(dropped - dropped_arrivals_));
    dropped_arrivals_ = dropped;
  }
}

void Engine::watch_for_trips(BenchTime now) noexcept {
  if (phase_ == Phase::looking_on && (parts_.minder.gone() || parts_.minder.stop_asked())) phase_ = Phase::over;
  if (phase_ >= Phase::safing) return;
  if (parts_.minder.gone()) return trip(TripCause::keeper_gone, 0, 0.0);
  if (const auto cause = parts_.minder.stop_asked()) {
    stop(*cause);
    if (step_since_) end_step(now, false);
    return;
  }
  if (phase_ == Phase::listening) return;
  for (std::size_t d = 0; d < parts_.devices.size(); ++d)
    if (live_.lost(d) && !may_be_silent(d)) {
      // A loop that did not run for much of the time-out may be what was lost, not the device.
      const bool late = stood_still_ > parts_.bench.devices[d].timeout / 2;
      return trip(TripCause::device_lost, static_cast<std::uint32_t>(d), late ? seconds(stood_still_) : 0.0);
    }
  if (const auto broken = interlocks_.check(now, live_, phase_ != Phase::arming))
    trip(TripCause::interlock, static_cast<std::uint32_t>(broken->interlock), broken->value);
}

// ---- phases ------------------------------------------------------------------------------------

void Engine::advance(BenchTime due) noexcept {
  if (phase_ == Phase::listening) listen(due);
  if (phase_ == Phase::arming) {
    const auto arming = arming_.advance(now_, live_, *this);
    if (arming == SequenceRunner::State::failed)
      trip(TripCause::arming_failed, static_cast<std::uint32_t>(arming_.position()), 0.0);
    if (arming == SequenceRunner::State::done) {
      phase_ = Phase::waiting;
      phase_since_ = due;
    }
  }
  if (phase_ == Phase::waiting) {
    if (wait_for_devices(due)) begin_inspection(Phase::inspecting);
  }
  if (phase_ == Phase::inspecting) {
    if (inspected(due) && identify(due)) {
      account(Occasion::before);
      engage_axes();
    }
  } else if (phase_ == Phase::approaching) {
    approach(due);
  } else if (phase_ == Phase::settling && due - phase_since_ >= parts_.timeline.settle()) {
    enter(RunState::running);
    phase_ = Phase::stepping;
  }
  if (phase_ == Phase::stepping) advance_load(due);
  if (phase_ == Phase::stepping) step(due);
  if (phase_ == Phase::stepping) load_.drive(wanted_);
  if (phase_ == Phase::closing && inspected(due)) {
    account(Occasion::after);
    stop(StopCause::finished);
  }
  if (phase_ == Phase::safing) make_safe(due);
  if (phase_ == Phase::looking_on && due - phase_since_ >= look_on_for) phase_ = Phase::over;
}

// Of a device that has no power before the bench is armed.
bool Engine::may_be_silent(std::size_t device) const noexcept {
  return parts_.bench.devices[device].silent_until_armed && phase_ <= Phase::waiting;
}

bool Engine::wait_for_devices(BenchTime due) noexcept {
  for (std::size_t d = 0; d < parts_.devices.size(); ++d) {
    if (!live_.lost(d) || (phase_ == Phase::listening && may_be_silent(d))) continue;
    if (due - phase_since_ >= listen_limit) trip(TripCause::device_lost, static_cast<std::uint32_t>(d), 0.0);
    return false;
  }
  return true;
}

// True once every device that can has said what it must. Another answer, or none in time, refuses the run.
bool Engine::identify(BenchTime due) noexcept {
  for (std::size_t i = 0; i < parts_.plan.identity.size(); ++i) {
    const auto& rule = parts_.plan.identity[i];
    if (phase_ == Phase::listening && may_be_silent(rule.device)) continue;
    const auto said = parts_.devices[rule.device]->identity(rule.name);
    if (rule.allows(said)) continue;
    if (said.empty() && due - phase_since_ < identity_limit) return false;
    account(Occasion::before);
    event(EventKind::identity_refused, static_cast<std::uint32_t>(rule.device), static_cast<std::uint32_t>(i),
          said.empty() ? 0.0 : 1.0);
    stop(StopCause::refused);
    return false;
  }
  return true;
}

void Engine::begin_inspection(Phase phase) noexcept {
  for (auto* device : parts_.devices) device->inspect();
  phase_ = phase;
  phase_since_ = due_;
}

// Every device has answered, or time is up.
bool Engine::inspected(BenchTime due) const noexcept {
  const auto has_answered = [](const Device* device) { return device->inspected(); };
  return due - phase_since_ >= inspection_limit || std::ranges::all_of(parts_.devices, has_answered);
}

void Engine::account(Occasion occasion) noexcept {
  parts_.minder.take_accounts(occasion, parts_.devices);
  event(EventKind::inspected, static_cast<std::uint32_t>(occasion));
}

void Engine::listen(BenchTime due) noexcept {
  if (!wait_for_devices(due) || !identify(due)) return;
  enter(RunState::armed);
  phase_ = Phase::arming;
}

// Bumpless: the setpoint of the mode starts where the axis is, in the same message that names the mode.
void Engine::engage_axes() noexcept {
  for (const auto& [name, mode] : parts_.plan.control) {
    for (const auto& axis : parts_.bench.axes) {
      if (axis.name != name) continue;
      for (const auto& choice : axis.modes) {
        if (choice.mode != mode) continue;
        if (choice.setpoint != no_signal) {
          const auto from = parts_.bench.signals[choice.setpoint].start_from;
          if (from != no_signal) wanted_[choice.setpoint] = sent_[choice.setpoint] = live_.value(from);
        }
        wanted_[axis.mode_signal] = choice.code;
      }
    }
  }
  for (const auto drive : drives_)
    if (!std::isfinite(wanted_[drive])) return trip(TripCause::arming_failed, drive, wanted_[drive]);
  phase_ = Phase::approaching;
}

void Engine::approach(BenchTime due) noexcept {
  bool there = true;
  for (const auto& [signal, goal] : parts_.timeline.start()) {
    const auto& info = parts_.bench.signals[signal].info;
    double most = INFINITY;
    if (info.max_slew > 0.0) most = approach_rate(info) * seconds(due - last_due_);
    wanted_[signal] = std::clamp(goal, sent_[signal] - most, sent_[signal] + most);
    there = there && wanted_[signal] == goal;
  }
  if (!there) return;
  phase_ = Phase::settling;
  phase_since_ = due;
  announce();
}

void Engine::step(BenchTime due) noexcept {
  BenchTime at = due;
  for (int n = 0; n < most_steps_a_tick && cursor_.current() != nullptr; ++n) {
    if (!step_since_ && !begin_step(at)) return;  // not on disk yet: hold
    const auto& now = *cursor_.current();
    const auto elapsed = due - *step_since_;
    for (const auto& channel : now.channels) wanted_[channel.signal] = channel.motion.at(elapsed);
    load_.follow(now, elapsed);
    faults_.advance(now_, live_, *this);
    if (now.watched && !now.watched->met_by(live_.value(now.watched->signal))) cursor_.lost();
    if (now.until) {
      const bool met = now.until->met_by(live_.value(now.until->signal));
      if (!met)
        met_since_.reset();
      else if (!met_since_)
        met_since_ = due;
      if (met_since_ && due - *met_since_ >= now.hold_for) {
        end_step(due, true);
        at = due;
        continue;
      }
      if (elapsed >= now.length) trip(TripCause::wait_timed_out, now.until->signal, live_.value(now.until->signal));
      return;
    }
    if (elapsed < now.length) return;
    at = *step_since_ + now.length;
    end_step(at, true);
  }
  if (cursor_.current() != nullptr) return;
  begin_inspection(Phase::closing);
}

bool Engine::begin_step(BenchTime at) noexcept {
  if (parts_.minder.acknowledged() < started_ + 1) return false;
  ++started_;
  step_since_ = at;
  met_since_.reset();
  const auto cycle = cursor_.cycle();
  record(Event{at, 0.0, cursor_.current()->id, cycle, EventKind::step_started});
  if (cursor_.repeat() != repeat_) {
    repeat_ = cursor_.repeat();
    repeat_since_ = at;
    repeat_ends_ = false;
  }
  load_.begin_step(*cursor_.current(), wanted_);
  faults_.begin_step(*cursor_.current(), at);
  lists_.begin(*cursor_.current(), *this);
  announce();
  return true;
}

void Engine::end_step(BenchTime at, bool complete) noexcept {
  const auto& step = *cursor_.current();
  if (complete)
    for (const auto& channel : step.channels) wanted_[channel.signal] = channel.motion.at(step.length);
  faults_.end_step(now_, *this);
  lists_.end();
  record(Event{at, complete ? 1.0 : 0.0, step.id, cursor_.cycle(), EventKind::step_ended});
  step_since_.reset();
  if (!complete) return;
  ++outcome_.steps_done;
  cursor_.next();
}

// The intent of a step goes to disk one step ahead, so that the loop seldom has to wait for it.
void Engine::announce() noexcept {
  if (announced_ > 0) {
    look_for_end_of_repeat();
    ahead_.next();
  }
  if (ahead_.current() == nullptr) return;
  ++announced_;
  event(EventKind::step_announced, ahead_.current()->id, ahead_.cycle());
  lists_.announce(*ahead_.current());
}

// Looked at before the next step is announced, so that what was announced is what comes.
void Engine::look_for_end_of_repeat() noexcept {
  if (repeat_ == nullptr || repeat_ends_ || ahead_.repeat() != repeat_) return;
  const bool time_is_over = repeat_->lasts > Duration{} && now_ - repeat_since_ >= repeat_->lasts;
  if (!time_is_over && !parts_.minder.repeat_to_end()) return;
  repeat_ends_ = true;
  const auto passes = ahead_.passes();
  ahead_.end_repeat(*repeat_, passes);
  cursor_.end_repeat(*repeat_, passes);
  event(EventKind::repeat_ended, static_cast<std::uint32_t>(time_is_over ? RepeatEnd::time : RepeatEnd::limit),
        static_cast<std::uint32_t>(passes));
}

// ---- faults ------------------------------------------------------------------------------------

void Engine::made(std::size_t fault) noexcept { event(EventKind::fault_made, static_cast<std::uint32_t>(fault)); }

void Engine::shown(std::size_t fault, BenchTime when, Duration after) noexcept {
  record(Event{when, seconds(after), static_cast<std::uint32_t>(fault), 0, EventKind::fault_shown});
}

void Engine::not_shown(std::size_t fault) noexcept {
  event(EventKind::fault_not_shown, static_cast<std::uint32_t>(fault));
}

void Engine::not_made(std::size_t fault) noexcept {
  event(EventKind::fault_not_made, static_cast<std::uint32_t>(fault));
}

void Engine::took_hold(std::size_t fault, BenchTime when, Duration after) noexcept {
  record(Event{when, seconds(after), static_cast<std::uint32_t>(fault), 1, EventKind::fault_shown});
}

void Engine::removed(std::size_t fault) noexcept { event(EventKind::fault_removed, static_cast<std::uint32_t>(fault)); }

void Engine::gone(std::size_t fault, BenchTime when, Duration after) noexcept {
  record(Event{when, seconds(after), static_cast<std::uint32_t>(fault), 0, EventKind::fault_gone});
}

void Engine::let_go(std::size_t fault, BenchTime when, Duration after) noexcept {
  record(Event{when, seconds(after), static_cast<std::uint32_t>(fault), 1, EventKind::fault_gone});
}

// Nobody knows what else a relay that hangs does.
void Engine::remains(std::size_t fault, double value) noexcept {
  trip(TripCause::fault_remains, static_cast<std::uint32_t>(fault), value);
}

// ---- lists -------------------------------------------------------------------------------------

void Engine::list_started(SignalIndex signal) noexcept { event(EventKind::list_started, signal); }

void Engine::list_not_taken(SignalIndex signal) noexcept { event(EventKind::list_not_taken, signal); }

// ---- the load model ----------------------------------------------------------------------------

void Engine::advance_load(BenchTime due) noexcept {
  const bool was_stale = load_.stale();
  const auto trouble = load_.advance(now_, due - last_due_, live_, sent_);
  if (load_.stale() != was_stale) event(was_stale ? EventKind::load_back : EventKind::load_stale, load_.angle());
  if (trouble == RoadLoad::Trouble::no_answer) trip(TripCause::not_finite, load_.angle(), live_.value(load_.angle()));
  if (trouble == RoadLoad::Trouble::too_much_energy)
    trip(TripCause::load_energy, load_.measured_force(), load_.energy());
}

// ---- the safe state ----------------------------------------------------------------------------

// In good order: the safe state follows.
void Engine::stop(StopCause cause) noexcept {
  outcome_.stop = cause;
  event(EventKind::stop_asked, static_cast<std::uint32_t>(cause));
  leave_faults();
  load_.stop(wanted_);
  phase_ = Phase::safing;
  phase_since_ = due_;
}

// Acts first, is recorded after.
void Engine::trip(TripCause cause, std::uint32_t which, double value) noexcept {
  if (phase_ >= Phase::safing) return;
  outcome_.tripped = true;
  outcome_.trip = cause;
  leave_faults();
  load_.stop(wanted_);
  phase_ = Phase::safing;
  phase_since_ = due_;
  make_safe(due_);
  event(EventKind::tripped, static_cast<std::uint32_t>(cause), which, value);
  if (step_since_) end_step(now_, false);
  enter(RunState::tripped);
}

// Those of values stay as they are: a unit that still has power might move when a fault goes. The safe state takes the
// power first. Those of messages end: a safe state that does not arrive is none.
void Engine::leave_faults() noexcept {
  for (const auto drive : drives_)
    if (faults_.touches(drive)) wanted_[drive] = sent_[drive];
  faults_.stop(*this);
}

void Engine::make_safe(BenchTime due) noexcept {
  if (phase_ > Phase::safing) return;
  const auto state = safing_.advance(now_, live_, *this);
  const auto taken = due - phase_since_;
  if (state == SequenceRunner::State::running && taken < parts_.bench.safe_state.within) return;
  outcome_.safe_reached = state == SequenceRunner::State::done;
  event(EventKind::safe_done, outcome_.safe_reached ? 1 : 0, 0, seconds(taken));
  // What a trip was about is seen best by what came after it.
  if (!outcome_.tripped) enter(RunState::cold);
  phase_ = outcome_.tripped ? Phase::looking_on : Phase::over;
}

// ---- outputs -----------------------------------------------------------------------------------

// A sequence's write takes effect in this tick; in the safe state past the slew limit.
void Engine::write(SignalIndex signal, double value) noexcept {
  wanted_[signal] = value;
  if (phase_ >= Phase::safing) sent_[signal] = value;
}

bool Engine::settled(SignalIndex signal) const noexcept {
  return sent_[signal] == wanted_[signal] && parts_.devices[live_.device_of(signal)]->settled(signal);
}

void Engine::note(std::size_t action, bool effect, bool good) noexcept {
  const bool safing = phase_ == Phase::safing;
  const auto kind = effect ? (safing ? EventKind::safe_effect : EventKind::arming_effect)
                           : (safing ? EventKind::safe_write : EventKind::arming_write);
  event(kind, static_cast<std::uint32_t>(action), good ? 1 : 0);
}

void Engine::send(BenchTime due) noexcept {
  const auto since = std::min<Duration>(due - last_due_, most_lag_ticks * parts_.bench.tick);
  for (const auto drive : drives_) {
    if (!std::isfinite(wanted_[drive])) {
      wanted_[drive] = sent_[drive];
      trip(TripCause::not_finite, drive, NAN);
    }
    const double wanted = faults_.distorted(drive, wanted_, sent_[drive], now_);
    const auto limited = limit_setpoint(parts_.bench.signals[drive].info, wanted, sent_[drive],
                                        faults_.jumps(drive, now_) ? any_jump : since);
    const bool clipped = limited.by != LimitedBy::nothing;
    if (clipped && !limited_[drive])
      event(EventKind::setpoint_limited, drive, static_cast<std::uint32_t>(limited.by), wanted);
    limited_[drive] = clipped;
    sent_[drive] = limited.value;
    // What its device leads gets no plain value but one that ends that: a fault's, or that of another phase.
    if (lists_.leads(drive) && (phase_ != Phase::stepping || limited.value != wanted_[drive])) lists_.take_back(drive);
    if (!lists_.leads(drive)) parts_.devices[live_.device_of(drive)]->set(drive, limited.value);
  }
  for (std::size_t d = 0; d < parts_.devices.size(); ++d) {
    const auto sent = parts_.devices[d]->transmit(now_);
    const bool failed = sent == Sent::failed || sent == Sent::would_block;
    if (failed && !failing_[d])
      event(EventKind::send_failed, static_cast<std::uint32_t>(d),
            static_cast<std::uint32_t>(parts_.devices[d]->last_error()));
    failing_[d] = failed;
  }
}

// Every driven value, each tick, stamped when it had been handed to the system.
void Engine::record_sent(BenchTime now) noexcept {
  const auto taken = static_cast<std::uint32_t>(std::clamp<Duration::rep>((now - now_).count(), 0, UINT32_MAX));
  for (const auto drive : drives_) record(Sample{now, sent_[drive], taken, drive, StampedBy::harness});
}

// ---- records -----------------------------------------------------------------------------------

void Engine::enter(RunState state) noexcept {
  if (state == state_) return;
  event(EventKind::state_changed, static_cast<std::uint32_t>(state), static_cast<std::uint32_t>(state_));
  state_ = state;
}

void Engine::event(EventKind kind, std::uint32_t a, std::uint32_t b, double value) noexcept {
  record(Event{now_, value, a, b, kind});
}

void Engine::record(const Record& record) noexcept {
  if (dropped_records_ > 0) {
    const Event loss{now_, 0.0, static_cast<std::uint32_t>(std::min<std::uint64_t>(dropped_records_, UINT32_MAX)), 0,
                     EventKind::records_dropped};
    if (parts_.records.put(loss)) dropped_records_ = 0;
  }
  if (!parts_.records.put(record)) ++dropped_records_;
}

}  // namespace trackrod
