#include "harness/plan/timeline.hpp"

#include <algorithm>

namespace trackrod {

Timeline::Cursor::Cursor(const Timeline& timeline) : timeline_{&timeline}, levels_(timeline.depth_) {
  levels_[0].items = &timeline.program_;
  settle_on_step();
}

std::uint32_t Timeline::Cursor::cycle() const { return static_cast<std::uint32_t>(levels_[level_].done); }

void Timeline::Cursor::lost() noexcept {
  for (auto at = level_; at > 0; --at)
    if (!levels_[at].repeat->levels.empty()) {
      levels_[at].lost = true;
      return;
    }
}

void Timeline::Cursor::next() noexcept {
  if (current_ == nullptr) return;
  ++levels_[level_].position;
  settle_on_step();
}

// Halves the distance with every try until it is one level, then goes up and down about the level that is just
// survived, by one at a time: Dixon and Mood 1948, "A method for obtaining and analyzing sensitivity data", from
// memory.
void Timeline::Cursor::choose(Level& level) noexcept {
  const auto& levels = level.repeat->levels;
  const auto hardest = levels.size() - 1;
  if (level.done == 0) {
    level.rung = hardest / 2;
  } else {
    const auto halved = level.done < 32 ? levels.size() >> (level.done + 1) : 0;
    const auto stride = std::max<std::size_t>(1, halved);
    level.rung = level.lost ? level.rung - std::min(level.rung, stride) : std::min(hardest, level.rung + stride);
  }
  level.lost = false;
  level.items = &levels[level.rung];
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
      auto& inner = levels_[++level_];
      inner = {&item.first, 0, &item};
      if (!item.levels.empty()) choose(inner);
    } else if (level.repeat == nullptr) {
      current_ = nullptr;
      return;
    } else if (++level.done < level.repeat->count) {
      level.position = 0;
      level.items = &level.repeat->again;
      if (!level.repeat->levels.empty()) choose(level);
    } else {
      ++levels_[--level_].position;
    }
  }
}

}  // namespace trackrod
