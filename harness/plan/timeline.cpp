#include "harness/plan/timeline.hpp"

namespace trackrod {

Timeline::Cursor::Cursor(const Timeline& timeline) : timeline_{&timeline}, levels_(timeline.depth_) {
  levels_[0].items = &timeline.program_;
  settle_on_step();
}

std::uint32_t Timeline::Cursor::cycle() const { return static_cast<std::uint32_t>(levels_[level_].done); }

void Timeline::Cursor::next() noexcept {
  if (current_ == nullptr) return;
  ++levels_[level_].position;
  settle_on_step();
}

// Moves into repeats and out of finished ones until it stands on a step or at the end.
void Timeline::Cursor::settle_on_step() noexcept {
  for (;;) {
    auto& level = levels_[level_];
    if (level.position < level.items->size()) {
      const auto& item = (*level.items)[level.position];
      if (item.count == 0) {
        current_ = &timeline_->steps_[item.step];
        return;
      }
      levels_[++level_] = {&item.first, 0, &item, 0};
    } else if (level.repeat == nullptr) {
      current_ = nullptr;
      return;
    } else if (++level.done < level.repeat->count) {
      level.items = &level.repeat->again;
      level.position = 0;
    } else {
      ++levels_[--level_].position;
    }
  }
}

}  // namespace trackrod
