#pragma once
// What a run leaves behind, in the order in which it happened: samples, ticks of the loop and events. Fixed size, so
// that the loop can hand records over through a ring in shared memory.

#include <cstdint>
#include <string>
#include <type_traits>

#include "harness/base/sample.hpp"

namespace trackrod {

// One turn of the loop.
struct Tick {
  BenchTime due{};
  std::uint32_t number{0};        // from 0; a gap in the numbers is a run of missed ticks
  std::uint32_t late_ns{0};       // wake-up after `due`; saturates at 4.29 s
  std::uint32_t work_ns{0};       // wake-up to setpoints handed to the system
  std::uint32_t input_age_ns{0};  // oldest live input when used; 0xFFFFFFFF = none yet
};

// Their numbers, like those of the causes and states below, stand in journals and archives: new ones go to the end.
enum class EventKind : std::uint16_t {
  state_changed,   // a = new RunState, b = old
  step_announced,  // a = step id, b = cycle: on disk before the step starts
  step_started,    // a = step id, b = cycle
  step_ended,      // a = step id, b = cycle, value = 1 when complete, 0 when cut short
  tripped,  // a = TripCause, b = interlock, device, signal or fault index, value = the value that broke it; of a lost
            // device the seconds that the loop itself had just stood still, where that may be why; else 0
  device_lost,       // a = device, b = errno of a lost link; 0 = it fell silent or hung up
  device_back,       // a = device
  setpoint_limited,  // a = signal, b = 1 range, 2 slew; value = what was asked
  send_failed,       // a = device, b = errno
  arrivals_dropped,  // a = count since the last such event
  records_dropped,   // a = count since the last such event
  arming_write,      // a = action number: sent, and confirmed where the device confirms
  arming_effect,     // a = action number, b = 1 seen, 0 not seen in time
  safe_write,        // a = action number, b = 1 sent, 0 could not be sent
  safe_effect,       // a = action number, b = 1 seen, 0 not seen in time
  safe_done,         // a = 1 every effect seen, 0 not; value = seconds taken; b = 1 by the keeper
  stop_asked,        // a = StopCause
  loop_died,         // a = signal or exit status, b = 1 when it hung; by the keeper
  clock_pair,  // value = wall clock minus bench clock, seconds since 1970; a, b = its nanoseconds, high and low word
  device_message,    // a = device, b = code; the text is in the journal's note that follows. value = seconds before
                     // `when` from which on it may have been so, where the device was asked now and then; 0 = not known
  identity_refused,  // a = device, b = rule of the plan; value = 1 it says something else, 0 it does not say
  inspected,    // a = 0 before, 1 after the steps: the devices said what they are; the journal's notes that follow tell
  fault_made,   // a = fault: from now on what is sent is wrong
  fault_shown,  // a = fault: the bench saw it in the sample of this instant; value = seconds since it was made. b = 1:
                // of messages, the first one was wrong at this instant, and none before it
  fault_not_shown,  // a = fault: the bench did not see it in time
  fault_not_made,   // a = fault: its trigger did not come before the step was over
  fault_removed,    // a = fault
  fault_gone,       // a = fault: no longer seen, in the sample of this instant; value = seconds since it was removed.
                    // b = 1: of messages, the first right one went out at this instant
  load_stale,       // a = signal that the load model answers to: too old, the load runs to zero
  load_back,        // a = that signal: fresh again, the load comes in anew
  repeat_ended,     // a = RepeatEnd, b = passes that are made of the repeat at the top of the plan, this one with them
  list_started,     // a = signal: its device leads it through the step, by itself
  list_not_taken    // a = signal: its device has not taken the list, or not in time; the loop leads it
};

enum class TripCause : std::uint16_t {
  interlock,
  device_lost,
  wait_timed_out,
  arming_failed,
  not_finite,
  keeper_gone,
  fault_remains,
  load_energy
};
enum class StopCause : std::uint16_t { finished, operator_stop, signal, disk, refused, disk_low };
enum class RepeatEnd : std::uint16_t { time, limit };
enum class RunState : std::uint16_t { setup, cold, armed, running, tripped };

struct Event {
  BenchTime when{};
  double value{0.0};
  std::uint32_t a{0}, b{0};
  EventKind kind{};
};

struct Record {
  enum class Kind : std::uint8_t { sample, tick, event } kind{Kind::sample};
  union {
    Sample sample;
    Tick tick;
    Event event;
  };
  Record() : sample{} {}
  Record(const Sample& s)
      : kind{Kind::sample}, sample{s} {}                // NOLINT(google-explicit-constructor): the three are one thing
  Record(const Tick& t) : kind{Kind::tick}, tick{t} {}  // NOLINT
  Record(const Event& e) : kind{Kind::event}, event{e} {}  // NOLINT
};
static_assert(std::is_trivially_copyable_v<Record> && sizeof(Record) <= 40);

// Where records go. On the loop's path: neither blocks nor allocates; false when there is no room.
class RecordSink {
 public:
  virtual ~RecordSink() = default;
  virtual bool put(const Record& record) noexcept = 0;
};

std::string event_kind_name(EventKind kind);
std::string trip_cause_name(TripCause cause);
std::string stop_cause_name(StopCause cause);
std::string run_state_name(RunState state);

}  // namespace trackrod
