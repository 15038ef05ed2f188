#include "harness/engine/value_lists.hpp"

#include <utility>

#include "harness/plan/list_points.hpp"

namespace trackrod {

ValueLists::ValueLists(const Bench& bench, const Timeline& timeline, std::vector<Device*> devices)
    : timeline_{timeline},
      devices_{std::move(devices)},
      courses_(timeline.steps().size()),
      leads_(bench.signals.size()),
      handed_over_(bench.signals.size()) {
  for (std::size_t i = 0; i < timeline.steps().size(); ++i)
    for (const auto& channel : timeline.steps()[i].channels) {
      const auto& spec = bench.signals[channel.signal];
      if (!spec.list) continue;
      auto points = list_points(channel.motion, timeline.steps()[i].length, *spec.list, spec.info.resolution);
      if (!points.empty()) courses_[i].push_back({channel.signal, spec.device, std::move(points)});
    }
}

void ValueLists::announce(const TimelineStep& step) noexcept {
  for (const auto& course : courses(step))
    handed_over_[course.signal] =
        !leads_[course.signal] && devices_[course.device]->prepare_list(course.signal, course.points);
}

void ValueLists::begin(const TimelineStep& step, ListNotes& notes) noexcept {
  for (const auto& course : courses(step)) {
    const bool ready =
        std::exchange(handed_over_[course.signal], false) && devices_[course.device]->start_list(course.signal);
    leads_[course.signal] = ready;
    if (ready)
      notes.list_started(course.signal);
    else
      notes.list_not_taken(course.signal);
  }
}

}  // namespace trackrod
