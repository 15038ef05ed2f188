// seek: the steps inside with one value or another, to find the one that is just survived.

#include "harness/plan/seek.hpp"

#include <algorithm>
#include <cmath>

#include "harness/plan/drafting.hpp"
#include "harness/plan/variables.hpp"

namespace trackrod {
namespace {

using Levels = std::vector<std::vector<PlanStep>>;

struct Seek {
  Name value;
  Located<Quantity> from, to;
  Located<int> levels;
  int tries{0};
  Located<ConditionKeys> survived;
  std::vector<Name> watched;
  Levels steps;
};

const Fields<ConditionKeys>& survived_fields() {
  static const auto fields = Fields<ConditionKeys>{"a sign of life", "The bounds of a signal while the unit survives"}
                                 .need("signal", &ConditionKeys::signal, name(), "the signal that is watched")
                                 .may("at_least", &ConditionKeys::at_least, maybe(any_quantity()), "lower bound")
                                 .may("at_most", &ConditionKeys::at_most, maybe(any_quantity()), "upper bound");
  return fields;
}

// Written as one list of elements; once expanded, as one for each level.
Shape<Levels> levels_of_steps() {
  const auto steps = element_list();
  return {[steps](const Node& n, Levels& out, Problems& problems) {
            const bool expanded =
                n.kind == Node::Kind::list && !n.items.empty() &&
                std::ranges::all_of(n.items, [](const Node& i) { return i.kind == Node::Kind::list; });
            if (!expanded) return steps.read(n, out.emplace_back(), problems);
            bool good = true;
            for (const auto& level : n.items) good = steps.read(level, out.emplace_back(), problems) && good;
            return good;
          },
          steps.schema};
}

const Fields<Seek>& seek_fields() {
  static const auto fields =
      Fields<Seek>{"a seek",
                   "Tries the steps inside with harder and easier values, about the one that is just survived"}
          .need("value", &Seek::value, name(), "its name; \"${name}\" in the steps stands for it")
          .need("from", &Seek::from, any_quantity(), "the easiest value, no variable")
          .need("to", &Seek::to, any_quantity(), "the hardest value, no variable, in the same unit")
          .need("levels", &Seek::levels, located(integer<int>(2, 1000)), "into how many values that is divided")
          .need("tries", &Seek::tries, integer<int>(2, 10000), "how often the steps are run")
          .need("survived", &Seek::survived, located(object(survived_fields)),
                "what holds all the time while the unit survives; a value that is stale or missing does not")
          .may("watched", &Seek::watched, list(name()), "names of the steps in which it must; not given: all")
          .need("steps", &Seek::steps, levels_of_steps(),
                "what is tried, with \"${name}\" for the value; everything must be back where it began at its end");
  return fields;
}

// ---- worked out --------------------------------------------------------------------------------

// Whether each level has the same steps: what is announced before a try must hold for whichever level it takes.
bool alike(const std::vector<TimelineItem>& a, const std::vector<TimelineItem>& b,
           const std::vector<TimelineStep>& steps) {
  return std::ranges::equal(a, b, [&](const TimelineItem& x, const TimelineItem& y) {
    if (x.count != y.count || x.levels.size() != y.levels.size()) return false;
    if (x.count == 0) return steps[x.step].id == steps[y.step].id;
    return alike(x.first, y.first, steps) && alike(x.again, y.again, steps) &&
           std::ranges::equal(x.levels, y.levels, [&](const auto& k, const auto& l) { return alike(k, l, steps); });
  });
}

std::vector<TimelineItem> seek_items(const PlanStep& step, Drafting& draft) {
  if (!step.complete) return {};
  const auto& seek = std::any_cast<const Seek&>(step.what.value);
  auto& problems = draft.problems();
  const auto before = problems.count();
  const auto survived = draft.condition(seek.survived.value, seek.survived.at);
  for (const auto& w : seek.watched)
    if (std::ranges::none_of(seek.steps.front(), [&](const PlanStep& s) { return s.name == w.value; }))
      problems.add(w.at, "no step '" + w.value + "'", "the name of one of the steps of this seek");

  TimelineItem item;
  item.count = static_cast<std::uint64_t>(seek.tries);
  const Drafting::Loop loop{draft};
  const auto began = draft.values();
  for (const auto& level : seek.steps) {
    const auto first = draft.steps().size();
    item.levels.push_back(draft.program(level));
    for (auto i = first; survived && i < draft.steps().size(); ++i) {
      auto& made = draft.steps()[i];
      if (seek.watched.empty() || std::ranges::find(seek.watched, made.name, &Name::value) != seek.watched.end())
        made.watched = survived;
    }
    if (const auto moved = draft.moved_since(began); moved && problems.count() == before)
      problems.add(step.what.at, "'" + draft.bench().signals[*moved].info.name + "' is not back at the end of a try",
                   "steps that end where they began: the next try takes another value");
    if (problems.count() > before) return {};
  }
  if (std::ranges::any_of(item.levels, [&](const auto& l) { return !alike(l, item.levels.front(), draft.steps()); })) {
    problems.add(step.what.at, "steps that differ in number from value to value", "a value that changes no 'times'");
    return {};
  }
  return {std::move(item)};
}

Body seek_body(const std::any& settings) {
  static const std::vector<PlanStep> none;
  const auto& seek = std::any_cast<const Seek&>(settings);
  return {seek.steps.empty() ? none : seek.steps.front(), seek.tries};
}

// ---- expanded ----------------------------------------------------------------------------------

// Empty when that is not what is written; reading the element tells why.
std::vector<Node> values_of(const Node& element, Problems& problems) {
  const auto *from = element.find("from"), *to = element.find("to"), *levels = element.find("levels");
  if (from == nullptr || to == nullptr || levels == nullptr) return {};
  Problems unheard;
  Located<Quantity> low, high;
  int count = 0;
  if (!any_quantity().read(*from, low, unheard) || !any_quantity().read(*to, high, unheard) ||
      !integer<int>(2, 1000).read(*levels, count, unheard))
    return {};
  const auto unit = low.value.unit.text();
  if (unit != high.value.unit.text() || low.value.value == high.value.value) {
    problems.add(to->at, "found " + to->shown() + " after " + from->shown(), "another value in the same unit");
    return {*from};  // so that what the steps say of the value is not told as well
  }
  std::vector<Node> values;
  for (int i = 0; i < count; ++i) {
    const double v = low.value.value + (high.value.value - low.value.value) * i / (count - 1);
    Node value = *from;
    value.kind = Node::Kind::text;
    value.text = shown(v, 9) + (unit == "1" ? "" : " " + unit);
    values.push_back(std::move(value));
  }
  return values;
}

void expand(Node& n, Problems& problems) {
  for (auto& item : n.items) expand(item, problems);
  for (auto& m : n.members) expand(m.value, problems);
  const auto* what = n.find("do");
  const auto* name = n.find("value");
  const auto body = std::ranges::find(n.members, "steps", &Node::Member::key);
  if (what == nullptr || what->text != "seek" || name == nullptr || body == n.members.end() ||
      body->value.kind != Node::Kind::list)
    return;
  std::vector<Node> levels;
  for (const auto& value : values_of(n, problems)) {
    levels.push_back(body->value);
    replace_known(levels.back(), {{name->text, value}});
  }
  if (!levels.empty()) body->value.items = std::move(levels);
}

}  // namespace

StimulusKind seek_element() { return {kind("seek", seek_fields), {}, seek_items, seek_body}; }

void expand_seeks(Node& plan, Problems& problems) {
  const auto steps = std::ranges::find(plan.members, "steps", &Node::Member::key);
  if (steps != plan.members.end()) expand(steps->value, problems);
}

}  // namespace trackrod
