// repeat: the steps inside, several times over, for a time, or until it is ended.

#include <cmath>

#include "harness/plan/drafting.hpp"

namespace trackrod {
namespace {

struct Check {
  std::int64_t every{0};
  std::vector<PlanStep> steps;
};

struct Repeat {
  std::optional<Located<std::int64_t>> times;
  std::optional<Located<Duration>> lasts;
  Located<bool> endless;
  std::optional<Located<Check>> check;
  std::optional<Located<Keep>> keep;
  std::vector<PlanStep> steps;
};

constexpr Duration least_before = std::chrono::seconds{10}, longest_around = std::chrono::hours{1};
constexpr Duration longest_repeat = std::chrono::hours{24 * 366};

const Fields<Check>& check_fields() {
  static const auto fields =
      Fields<Check>{"a check", "Steps that are run between two passes of a repeat, now and then"}
          .need("every", &Check::every, whole_number(1, 1'000'000'000), "after so many passes, each time")
          .need("steps", &Check::steps, element_list(),
                "what is run then; every driven signal must be back where it began at its end");
  return fields;
}

const Fields<Keep>& keep_fields() {
  static const auto fields =
      Fields<Keep>{"what is kept", "Which samples of a long repeat are kept; values of cycles and events all are"}
          .may("before", &Keep::before, duration(least_before, longest_around),
               "before whatever happens beside the plan; 10 s when not given")
          .may("after", &Keep::after, duration(Duration{0}, longest_around), "after it; 5 s when not given")
          .may(
              "whole_every", &Keep::whole_every, duration(Duration{0}, longest_repeat),
              "a whole pass each time that this has gone by; 30 min when not given, 0 s: the first and the last alone");
  return fields;
}

const Fields<Repeat>& repeat_fields() {
  static const auto fields =
      Fields<Repeat>{"a repeat", "Runs the steps inside several times over"}
          .may("times", &Repeat::times, maybe(located(whole_number(1, 1'000'000'000))), "how often")
          .may("lasts", &Repeat::lasts, maybe(located(duration(shortest_time, longest_repeat))),
               "instead of 'times': for so long; the pass that is under way then is finished")
          .may("endless", &Repeat::endless, located(flag()),
               "instead of 'times': true, until a limit that stops the repeat, or a person, ends it")
          .may("check", &Repeat::check, maybe(located(object(check_fields))),
               "steps between two passes, after every so many of them")
          .may("keep", &Repeat::keep, maybe(located(object(keep_fields))),
               "samples of its passes are kept only around what happens, and now and then; not given: all are")
          .need("steps", &Repeat::steps, element_list(), "what is repeated");
  return fields;
}

// One way to end, and what only a repeat at the top may have.
bool is_sound(const Repeat& repeat, const Where& at, Drafting& draft) {
  auto& problems = draft.problems();
  const auto before = problems.count();
  const int ways = (repeat.times ? 1 : 0) + (repeat.lasts ? 1 : 0) + (repeat.endless.value ? 1 : 0);
  if (ways != 1)
    problems.add(at, ways == 0 ? "a repeat that does not say when it ends" : "a repeat that is to end in several ways",
                 "one of 'times', 'lasts' and 'endless'");
  if (!draft.in_loop()) return problems.count() == before;
  const auto outside = [&](const Where& where, const std::string& key) {
    problems.add(where, "'" + key + "' in a repeat inside a repeat or a seek", "in the outermost one",
                 "give this one 'times' alone");
  };
  if (repeat.lasts) outside(repeat.lasts->at, "lasts");
  if (repeat.endless.value) outside(repeat.endless.at, "endless");
  if (repeat.check) outside(repeat.check->at, "check");
  if (repeat.keep) outside(repeat.keep->at, "keep");
  return problems.count() == before;
}

// The signals are then where the check leaves them: as the passes do.
std::vector<TimelineItem> check_items(const Located<Check>& check, Drafting& draft) {
  const auto began = draft.values();
  auto items = draft.program(check.value.steps);
  if (const auto moved = draft.moved_since(began))
    draft.problems().add(check.at,
                         "'" + draft.bench().signals[*moved].info.name + "' is not back at the end of the check",
                         "steps that end where they began: the next pass goes on from there");
  return items;
}

std::vector<TimelineItem> repeat_items(const PlanStep& step, Drafting& draft) {
  const auto& repeat = std::any_cast<const Repeat&>(step.what.value);
  bool sound = is_sound(repeat, step.what.at, draft);
  TimelineItem item;
  item.count = repeat.times ? static_cast<std::uint64_t>(repeat.times->value) : without_end;
  if (repeat.lasts) item.lasts = repeat.lasts->value;
  const Drafting::Loop loop{draft};
  item.first = draft.program(repeat.steps);
  if (item.count > 1) item.again = draft.program_again(repeat.steps);
  if (repeat.check) {
    item.check_every = static_cast<std::uint64_t>(repeat.check->value.every);
    item.check = check_items(*repeat.check, draft);
  }
  if (repeat.keep) {
    item.keep = repeat.keep->value;
    // A pass is told by the step it begins with.
    if (!item.first.empty() && item.first.front().count != 0) {
      draft.problems().add(repeat.keep->at, "'keep' in a repeat that begins with another repeat or a seek",
                           "one that begins with a step", "put a short 'hold' in front");
      sound = false;
    }
  }
  if (!sound || item.first.empty() || (repeat.check && item.check.empty())) return {};
  return {std::move(item)};
}

Body repeat_body(const std::any& settings) {
  const auto& repeat = std::any_cast<const Repeat&>(settings);
  return {repeat.steps, repeat.times ? repeat.times->value : std::numeric_limits<std::int64_t>::max(),
          repeat.check ? &repeat.check->value.steps : nullptr};
}

}  // namespace

StimulusKind repeat_element() { return {kind("repeat", repeat_fields), {}, repeat_items, repeat_body}; }

}  // namespace trackrod
