#include "harness/cli/progress.hpp"

#include "harness/capture/events.hpp"

namespace trackrod {

void Progress::on_event(const Event& event) {
  switch (event.kind) {
    case EventKind::step_started: {
      if (steps_++ == 0) begun_ = event.when;
      const auto step = step_name(header_, event.a);
      if (timeline_.is_endless()) {
        console_.progress("step " + std::to_string(steps_) + ": " + step + ", pass " + std::to_string(event.b + 1));
        break;
      }
      const auto left = seconds(timeline_.length() - (event.when - begun_));
      console_.progress("step " + std::to_string(steps_) + " of " + std::to_string(timeline_.step_count()) + ": " +
                        step + ", " + shown_time(left > 0 ? left : 0) + " left");
      break;
    }
    case EventKind::state_changed:
      if (event.a == event.b) break;  // the recording says where it begins
      [[fallthrough]];
    case EventKind::tripped:
    case EventKind::device_lost:
    case EventKind::safe_done:
    case EventKind::loop_died:
      console_.end_progress();
      console_.say(event_words(event, header_));
      break;
    default:
      break;
  }
}

}  // namespace trackrod
