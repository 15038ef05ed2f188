// inject: a fault of the bench's catalogue, made for a while.

#include "harness/plan/drafting.hpp"

namespace trackrod {
namespace {

struct When : ConditionKeys {
  Duration within{};
};
struct Inject {
  Name fault;
  Duration time{};
  std::optional<Located<When>> when;
};

const Fields<When>& when_fields() {
  static const auto fields = Fields<When>{"a trigger", "A condition that makes the fault when it turns true"}
                                 .need("signal", &When::signal, name(), "the signal that is watched")
                                 .may("at_least", &When::at_least, maybe(any_quantity()), "lower bound")
                                 .may("at_most", &When::at_most, maybe(any_quantity()), "upper bound")
                                 .need("within", &When::within, duration(shortest_time, longest_time),
                                       "how long it is watched; the element takes this long and 'for' in any case");
  return fields;
}

const Fields<Inject>& inject_fields() {
  static const auto fields =
      Fields<Inject>{"an injection", "Makes a fault of the bench's catalogue for a while, beside what other tracks do"}
          .need("fault", &Inject::fault, name(), "its name in the bench's 'faults'")
          .need("for", &Inject::time, duration(shortest_time, longest_time), "how long it is there")
          .may("when", &Inject::when, maybe(located(object(when_fields))),
               "not at once, but when this turns true, having been false");
  return fields;
}

std::optional<Movement> move_inject(const Inject& inject, Drafting& draft) {
  const auto fault = draft.bench().find_fault(inject.fault.value);
  if (!fault) {
    std::vector<std::string> names;
    for (const auto& f : draft.bench().faults) names.push_back(f.name);
    draft.problems().add(inject.fault.at, "no fault '" + inject.fault.value + "'",
                         names.empty() ? "a fault of the bench, which has none in 'faults'" : "a fault of the bench",
                         did_you_mean(inject.fault.value, names));
    return {};
  }
  Injection made{*fault, {}, {}, {}, inject.time};
  if (inject.when) {
    made.when = draft.condition(inject.when->value, inject.when->at);
    made.within = inject.when->value.within;
    if (!made.when) return {};
  }
  return Movement{{}, seconds(made.within + made.lasts), {made}};
}

}  // namespace

StimulusKind inject_stimulus() { return stimulus("inject", inject_fields, move_inject); }

}  // namespace trackrod
