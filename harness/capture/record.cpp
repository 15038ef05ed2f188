#include "harness/capture/record.hpp"

namespace trackrod {

std::string event_kind_name(EventKind kind) {
  switch (kind) {
    case EventKind::state_changed:
      return "state_changed";
    case EventKind::step_announced:
      return "step_announced";
    case EventKind::step_started:
      return "step_started";
    case EventKind::step_ended:
      return "step_ended";
    case EventKind::tripped:
      return "tripped";
    case EventKind::device_lost:
      return "device_lost";
    case EventKind::device_back:
      return "device_back";
    case EventKind::setpoint_limited:
      return "setpoint_limited";
    case EventKind::send_failed:
      return "send_failed";
    case EventKind::arrivals_dropped:
      return "arrivals_dropped";
    case EventKind::records_dropped:
      return "records_dropped";
    case EventKind::arming_write:
      return "arming_write";
    case EventKind::arming_effect:
      return "arming_effect";
    case EventKind::safe_write:
      return "safe_write";
    case EventKind::safe_effect:
      return "safe_effect";
    case EventKind::safe_done:
      return "safe_done";
    case EventKind::stop_asked:
      return "stop_asked";
    case EventKind::loop_died:
      return "loop_died";
    case EventKind::clock_pair:
      return "clock_pair";
    case EventKind::device_message:
      return "device_message";
    case EventKind::identity_refused:
      return "identity_refused";
    case EventKind::inspected:
      return "inspected";
    case EventKind::fault_made:
      return "fault_made";
    case EventKind::fault_shown:
      return "fault_shown";
    case EventKind::fault_not_shown:
      return "fault_not_shown";
    case EventKind::fault_not_made:
      return "fault_not_made";
    case EventKind::fault_removed:
      return "fault_removed";
    case EventKind::fault_gone:
      return "fault_gone";
    case EventKind::load_stale:
      return "load_stale";
    case EventKind::load_back:
      return "load_back";
    case EventKind::repeat_ended:
      return "repeat_ended";
    case EventKind::list_started:
      return "list_started";
    case EventKind::list_not_taken:
      return "list_not_taken";
  }
  return "event " + std::to_string(static_cast<unsigned>(kind));
}

std::string trip_cause_name(TripCause cause) {
  switch (cause) {
    case TripCause::interlock:
      return "interlock";
    case TripCause::device_lost:
      return "device lost";
    case TripCause::wait_timed_out:
      return "wait timed out";
    case TripCause::arming_failed:
      return "arming failed";
    case TripCause::not_finite:
      return "value not finite";
    case TripCause::keeper_gone:
      return "keeper gone";
    case TripCause::fault_remains:
      return "fault remains";
    case TripCause::load_energy:
      return "load_energy";
  }
  return "cause " + std::to_string(static_cast<unsigned>(cause));
}

std::string stop_cause_name(StopCause cause) {
  switch (cause) {
    case StopCause::finished:
      return "finished";
    case StopCause::operator_stop:
      return "operator stop";
    case StopCause::signal:
      return "signal";
    case StopCause::disk:
      return "disk";
    case StopCause::refused:
      return "refused";
    case StopCause::disk_low:
      return "the disk is almost full";
  }
  return "cause " + std::to_string(static_cast<unsigned>(cause));
}

std::string run_state_name(RunState state) {
  switch (state) {
    case RunState::setup:
      return "setup";
    case RunState::cold:
      return "cold";
    case RunState::armed:
      return "armed";
    case RunState::running:
      return "running";
    case RunState::tripped:
      return "tripped";
  }
  return "state " + std::to_string(static_cast<unsigned>(state));
}

}  // namespace trackrod
