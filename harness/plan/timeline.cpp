#include "harness/plan/timeline.hpp"

#include <algorithm>

namespace trackrod {

const TimelineStep& first_step(const TimelineItem& item, const std::vector<TimelineStep>& steps) {
  if (item.count == 0) return steps[item.step];
  return first_step(item.levels.empty() ? item.first.front() : item.levels.front().front(), steps);
}

std::set<std::string> steps_inside(const std::vector<TimelineItem>& items, const std::vector<TimelineStep>& steps) {
  std::set<std::string> names;
  for (const auto& item : items) {
    if (item.count == 0) names.insert(steps[item.step].name);
    names.merge(steps_inside(item.levels.empty() ? item.first : item.levels.front(), steps));
    names.merge(steps_inside(item.check, steps));
  }
  return names;
}

Timeline::Cursor::Cursor(const Timeline& timeline) : timeline_{&timeline}, levels_(timeline.depth_) {
  levels_[0].items = &timeline.program_;
  settle_on_step();
}

std::uint32_t Timeline::Cursor::cycle() const {
  const auto& level = levels_[level_];
  return static_cast<std::uint32_t>(level.checking ? level.done / level.repeat->check_every - 1 : level.done);
}

const TimelineItem* Timeline::Cursor::repeat() const noexcept {
  if (current_ == nullptr || level_ == 0 || !levels_[1].repeat->levels.empty()) return nullptr;
  return levels_[1].repeat;
}

std::uint64_t Timeline::Cursor::passes() const noexcept { return levels_[1].done + (levels_[1].checking ? 0 : 1); }

void Timeline::Cursor::end_repeat(const TimelineItem& repeat, std::uint64_t passes) noexcept {
  ending_ = &repeat;
  last_pass_ = passes;
}

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
      inner = {&item.first, 0, &item, item.made_before};
      if (!item.levels.empty()) choose(inner);
    } else if (level.repeat == nullptr) {
      current_ = nullptr;
      return;
    } else if (level.checking) {
      begin_pass_or_leave(level);
    } else if (++level.done; level.repeat->check_every != 0 && level.done % level.repeat->check_every == 0) {
      level.checking = true;
      level.position = 0;
      level.items = &level.repeat->check;
    } else {
      begin_pass_or_leave(level);
    }
  }
}

void Timeline::Cursor::begin_pass_or_leave(Level& level) noexcept {
  const auto& repeat = *level.repeat;
  level.checking = false;
  if (level.done >= repeat.count || (ending_ == &repeat && level.done >= last_pass_)) {
    ++levels_[--level_].position;
    return;
  }
  level.position = 0;
  level.items = &repeat.again;
  if (!repeat.levels.empty()) choose(level);
}

}  // namespace trackrod
