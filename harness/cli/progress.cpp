#include "harness/cli/progress.hpp"

#include "harness/capture/events.hpp"

namespace trackrod {

void Progress::on_event(const Event& event) {
  switch (event.kind) {
    case EventKind::step_started: {
      if (steps_++ == 0) begun_ = event.when;
      last_ = "step " + std::to_string(steps_);
      if (timeline_.is_endless()) {
        last_ += ": " + step_name(header_, event.a) + ", pass " + std::to_string(event.b + 1);
      } else {
        const auto left = seconds(timeline_.length() - (event.when - begun_));
        last_ += " of " + std::to_string(timeline_.step_count()) + ": " + step_name(header_, event.a) +
                 (event.b > 0 ? ", cycle " + std::to_string(event.b + 1) : "") + ", " +
                 shown_time(left > 0 ? left : 0) + " left";
      }
      console_.progress(last_);
      break;
    }
    case EventKind::state_changed:
      if (event.a == event.b) break;  // the recording says where it begins
      [[fallthrough]];
    case EventKind::tripped:
    case EventKind::device_lost:
    case EventKind::safe_done:
    case EventKind::loop_died:
      last_ = event_words(event, header_);
      console_.end_progress();
      console_.say(last_);
      break;
    default:
      break;
  }
}

}  // namespace trackrod
