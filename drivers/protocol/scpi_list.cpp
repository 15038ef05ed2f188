#include "drivers/protocol/scpi_list.hpp"

#include <algorithm>

#include "drivers/protocol/scpi_text.hpp"

namespace trackrod {
namespace {

constexpr int dwell_digits = 4;          // of seconds: a tenth of a millisecond
constexpr std::size_t most_digits = 24;  // of a number, with sign and comma

}  // namespace

ScpiValueList::ScpiValueList(const ScpiList& list, int digits)
    : levels_head_{list.levels.value + " "},
      dwells_head_{list.dwells.value + " "},
      count_{list.count.value},
      on_{list.on.value},
      off_{list.off.value},
      start_{list.start.value},
      abort_{list.abort.value},
      most_{static_cast<std::size_t>(list.points)},
      digits_{digits} {
  const auto room = std::max(levels_head_.size(), dwells_head_.size()) + most_ * most_digits;
  levels_.reserve(room);
  dwells_.reserve(room);
}

bool ScpiValueList::prepare(std::span<const ListPoint> points) noexcept {
  if (stage_ == Stage::running || points.empty() || points.size() > most_) return false;
  levels_ = levels_head_;
  dwells_ = dwells_head_;
  for (std::size_t i = 0; i < points.size(); ++i) {
    if (i > 0) levels_ += ',', dwells_ += ',';
    append_number(levels_, points[i].value, digits_);
    append_number(dwells_, seconds(points[i].dwell), dwell_digits);
  }
  stage_ = Stage::levels;
  start_asked_ = false;
  return true;
}

void ScpiValueList::stop() noexcept {
  to_stop_ = 2;
  stage_ = Stage::none;
  start_asked_ = false;
}

std::string_view ScpiValueList::stopping() noexcept {
  if (to_stop_ == 0) return {};
  return --to_stop_ == 1 ? std::string_view{abort_} : std::string_view{off_};
}

std::string_view ScpiValueList::starting() noexcept {
  if (!start_asked_ || stage_ != Stage::ready) return {};
  start_asked_ = false;
  stage_ = Stage::running;
  return start_;
}

std::string_view ScpiValueList::preparing() noexcept {
  switch (stage_) {
    case Stage::levels:
      stage_ = Stage::dwells;
      return levels_;
    case Stage::dwells:
      stage_ = Stage::count;
      return dwells_;
    case Stage::count:
      stage_ = Stage::mode;
      return count_;
    case Stage::mode:
      stage_ = Stage::asking;
      return on_;
    default:
      return {};
  }
}

void ScpiValueList::found(bool clean) noexcept {
  if (clean && stage_ == Stage::asking) stage_ = Stage::ready;
  if (!clean && is_prepared() && !is_running()) stop();
}

}  // namespace trackrod
