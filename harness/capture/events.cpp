#include "harness/capture/events.hpp"

#include <fcntl.h>

#include <algorithm>
#include <cerrno>
#include <cstring>
#include <nlohmann/json.hpp>

#include "harness/base/units.hpp"
#include "harness/capture/files.hpp"

namespace trackrod {
namespace {

using Json = nlohmann::ordered_json;

std::string named(const std::vector<std::string>& names, std::uint32_t index, const std::string& what) {
  return index < names.size() ? what + " '" + names[index] + "'" : what + " " + std::to_string(index);
}
std::string signal(const StreamHeader& names, std::uint32_t index) {
  return index < names.signals.size() ? "signal '" + names.signals[index].name + "'"
                                      : "signal " + std::to_string(index);
}
std::string with_unit(const StreamHeader& names, std::uint32_t index, double value) {
  return shown(value) + (index < names.signals.size() ? " " + names.signals[index].unit : "");
}
std::string state(std::uint32_t s) { return run_state_name(static_cast<RunState>(s)); }
std::string action(std::uint32_t number) { return "action " + std::to_string(number + 1); }

std::string step(const Event& e, const StreamHeader& names) {
  return "step '" + step_name(names, e.a) + "'" + (e.b > 0 ? ", cycle " + std::to_string(e.b + 1) + "," : "");
}

std::string trip(const Event& e, const StreamHeader& names) {
  switch (static_cast<TripCause>(e.a)) {
    case TripCause::interlock:
      return "tripped: " + named(names.interlocks, e.b, "interlock") + " broken at " + shown(e.value);
    case TripCause::device_lost:
      return "tripped: " + named(names.devices, e.b, "device") + " lost" +
             (e.value > 0.0 ? "; the loop itself had stood still for " + shown(1e3 * e.value, 3) +
                                  " ms: this computer was late, look there first"
                            : "");
    case TripCause::wait_timed_out:
      return "tripped: a wait ran out of time with " + signal(names, e.b) + " at " + with_unit(names, e.b, e.value);
    case TripCause::not_finite:
      return "tripped: " + signal(names, e.b) + " is not a number";
    case TripCause::arming_failed:
      return "tripped: arming failed at " + action(e.b);
    case TripCause::keeper_gone:
      return "tripped: the process that keeps the run is gone";
    case TripCause::fault_remains:
      return "tripped: " + named(names.faults, e.b, "fault") + " was removed and is still seen, at " + shown(e.value);
    case TripCause::load_energy:
      return "tripped: the load gave the rack " + shown(e.value, 4) + " W.s, as " + signal(names, e.b) +
             " tells: it swings, or something moves the rack against it";
  }
  return "tripped: " + trip_cause_name(static_cast<TripCause>(e.a));
}

}  // namespace

std::string event_words(const Event& e, const StreamHeader& names) {
  switch (e.kind) {
    case EventKind::state_changed:
      return "state " + state(e.b) + " -> " + state(e.a);
    case EventKind::step_announced:
      return step(e, names) + " is next";
    case EventKind::step_started:
      return step(e, names) + " began";
    case EventKind::step_ended:
      return step(e, names) + (e.value == 1.0 ? " is complete" : " was cut short");
    case EventKind::tripped:
      return trip(e, names);
    case EventKind::device_lost:
      return named(names.devices, e.a, "device") + " lost" +
             (e.b != 0 ? std::string{": "} + std::strerror(static_cast<int>(e.b)) : "");
    case EventKind::device_back:
      return named(names.devices, e.a, "device") + " is back";
    case EventKind::setpoint_limited:
      return signal(names, e.a) + " limited in " + (e.b == 2 ? "slew" : "range") + ": " +
             with_unit(names, e.a, e.value) + " was asked for";
    case EventKind::send_failed:
      return "sending to " + named(names.devices, e.a, "device") + " failed: " + std::strerror(static_cast<int>(e.b));
    case EventKind::arrivals_dropped:
      return std::to_string(e.a) + " arrivals dropped: no room";
    case EventKind::records_dropped:
      return std::to_string(e.a) + " records dropped: no room";
    case EventKind::arming_write:
      return "arming, " + action(e.a) + ": sent";
    case EventKind::arming_effect:
      return "arming, " + action(e.a) + ": effect " + (e.b == 1 ? "seen" : "not seen in time");
    case EventKind::safe_write:
      return "safe state, " + action(e.a) + ": " + (e.b == 1 ? "sent" : "could not be sent");
    case EventKind::safe_effect:
      return "safe state, " + action(e.a) + ": effect " + (e.b == 1 ? "seen" : "not seen in time");
    case EventKind::safe_done:
      return std::string{e.a == 1 ? "safe state reached" : "SAFE STATE NOT PROVEN: use the hard-wired emergency stop"} +
             " after " + shown(e.value) + " s" + (e.b == 1 ? ", driven by the keeping process" : "");
    case EventKind::stop_asked:
      return "stop: " + stop_cause_name(static_cast<StopCause>(e.a));
    case EventKind::loop_died:
      return "the loop's process ended by itself (" + std::to_string(e.a) + ")";
    case EventKind::clock_pair:
      return "wall clock read beside the bench clock";
    case EventKind::device_message:
      return named(names.devices, e.a, "device") + " says: code " + std::to_string(e.b);
    case EventKind::inspected:
      return std::string{"the devices were asked what they are, "} + (e.a == 0 ? "before" : "after") + " the steps";
    case EventKind::fault_made:
      return named(names.faults, e.a, "fault") + " made";
    case EventKind::fault_shown:
      if (e.b == 1)
        return named(names.faults, e.a, "fault") + ": first wrong message " + shown(1e3 * e.value, 3) +
               " ms after it was made";
      return named(names.faults, e.a, "fault") + " seen, " + shown(1e3 * e.value, 3) + " ms after it was made";
    case EventKind::fault_not_shown:
      return named(names.faults, e.a, "fault") + " NOT SEEN in time: it may never have been there";
    case EventKind::fault_not_made:
      return named(names.faults, e.a, "fault") + " NOT MADE: its trigger did not come";
    case EventKind::fault_removed:
      return named(names.faults, e.a, "fault") + " removed";
    case EventKind::fault_gone:
      if (e.b == 1)
        return named(names.faults, e.a, "fault") + ": first right message " + shown(1e3 * e.value, 3) +
               " ms after it was removed";
      return named(names.faults, e.a, "fault") + " gone, " + shown(1e3 * e.value, 3) + " ms after it was removed";
    case EventKind::load_stale:
      return signal(names, e.a) + " is stale: the load runs to zero";
    case EventKind::load_back:
      return signal(names, e.a) + " is fresh again: the load comes in anew";
    case EventKind::list_started:
      return signal(names, e.a) + " is led by its device through a list from here on";
    case EventKind::list_not_taken:
      return signal(names, e.a) + " is led by the loop: its device has not taken the list";
    case EventKind::repeat_ended:
      return "the repeat ends with pass " + std::to_string(e.b) +
             (static_cast<RepeatEnd>(e.a) == RepeatEnd::time ? ": its time is over"
                                                             : ": a limit that stops it was passed");
    case EventKind::identity_refused:
      return named(names.devices, e.a, "device") +
             (e.value == 1.0 ? " says that it is another one than asked for" : " does not say what it is");
  }
  return event_kind_name(e.kind);
}

Result<void> write_events(const CaptureView& capture, const StreamHeader& names, const std::string& path) {
  std::vector<std::pair<BenchTime, Json>> lines;
  const auto line = [&](BenchTime when, const std::string& kind, const std::string& words) -> Json& {
    return lines.emplace_back(when, Json{{"t", seconds(when - capture.begin())}, {"kind", kind}, {"words", words}})
        .second;
  };
  for (const auto& e : capture.events()) {
    auto& object = line(e.when, event_kind_name(e.kind), event_words(e, names));
    object["a"] = e.a;
    object["b"] = e.b;
    object["value"] = e.value;
  }
  for (const auto& n : capture.notes())
    line(n.when, "note",
         n.device == Note::no_device ? n.text : named(names.devices, n.device, "device") + ": " + n.text);
  for (const auto& g : capture.gaps())
    line(g.from, "gap", (g.count > 0 ? std::to_string(g.count) + " records missing: " : "records missing: ") + g.why);
  std::stable_sort(lines.begin(), lines.end(), [](const auto& a, const auto& b) { return a.first < b.first; });

  std::string text;
  for (const auto& [when, object] : lines) text += object.dump(-1, ' ', false, Json::error_handler_t::replace) + "\n";
  const auto part = path + ".part";
  const FileDescriptor file{open(part.c_str(), O_WRONLY | O_CREAT | O_TRUNC | O_CLOEXEC, 0644)};
  if (!file.valid()) return fail_os(Fault::storage, "'" + part + "' could not be made", errno);
  if (auto written = write_all(file.get(), text, part); !written) return written;
  return sync_and_rename(part, path);
}

}  // namespace trackrod
