// repeat: the steps inside, several times over.

#include <cmath>

#include "harness/plan/drafting.hpp"

namespace trackrod {
namespace {

struct Repeat {
  std::int64_t times{0};
  std::vector<PlanStep> steps;
};

const Fields<Repeat>& repeat_fields() {
  static const auto fields = Fields<Repeat>{"a repeat", "Runs the steps inside several times over"}
                                 .need("times", &Repeat::times, whole_number(1, 1'000'000'000), "how often")
                                 .need("steps", &Repeat::steps, element_list(), "what is repeated");
  return fields;
}

std::vector<TimelineItem> repeat_items(const PlanStep& step, Drafting& draft) {
  const auto& repeat = std::any_cast<const Repeat&>(step.what.value);
  TimelineItem item;
  item.count = static_cast<std::uint64_t>(repeat.times);
  item.first = draft.program(repeat.steps);
  if (repeat.times > 1) item.again = draft.program_again(repeat.steps);
  if (item.first.empty()) return {};
  return {std::move(item)};
}

Body repeat_body(const std::any& settings) {
  const auto& repeat = std::any_cast<const Repeat&>(settings);
  return {repeat.steps, repeat.times};
}

}  // namespace

StimulusKind repeat_element() { return {kind("repeat", repeat_fields), {}, repeat_items, repeat_body}; }

}  // namespace trackrod
