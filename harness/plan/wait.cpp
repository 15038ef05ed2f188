// wait: until a signal is where it should be, for a while at most.

#include "harness/plan/drafting.hpp"

namespace trackrod {
namespace {

struct Wait : ConditionKeys {
  Located<Duration> hold_for;
  Duration within{};
};

const Fields<Wait>& wait_fields() {
  static const auto fields =
      Fields<Wait>{"a wait",
                   "Waits until a signal is within bounds; the run ends in the safe state when that takes too long"}
          .need("signal", &Wait::signal, name(), "the signal that is watched")
          .may("at_least", &Wait::at_least, maybe(any_quantity()), "lower bound")
          .may("at_most", &Wait::at_most, maybe(any_quantity()), "upper bound")
          .may("hold_for", &Wait::hold_for, located(duration(Duration{0}, longest_time)),
               "how long it must stay within the bounds; not given: a moment is enough")
          .need("within", &Wait::within, duration(shortest_time, longest_time), "the longest that the wait may take");
  return fields;
}

std::vector<TimelineItem> wait_items(const PlanStep& step, Drafting& draft) {
  if (!step.complete) return {};
  const auto& wait = std::any_cast<const Wait&>(step.what.value);
  TimelineStep made;
  made.until = draft.condition(wait, step.what.at);
  made.length = wait.within;
  made.hold_for = wait.hold_for.value;
  if (wait.hold_for.value >= wait.within) {
    draft.problems().add(wait.hold_for.at, "'hold_for' as long as the whole wait", "less than 'within'");
    return {};
  }
  if (!made.until) return {};
  return {draft.add(step, std::move(made))};
}

}  // namespace

StimulusKind wait_element() { return {kind("wait", wait_fields), {}, wait_items, {}}; }

}  // namespace trackrod
