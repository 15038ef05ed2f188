#pragma once
// The elements of a plan's "steps": stimuli, which move signals, and control elements, which order them. Each is one
// file and one line in stimulus_table().

#include <any>
#include <functional>
#include <optional>
#include <string>
#include <vector>

#include "harness/base/fields.hpp"
#include "harness/plan/plan.hpp"
#include "harness/plan/timeline.hpp"

namespace trackrod {

class Drafting;

// What one stimulus does, worked out.
struct Movement {
  std::vector<Channel> channels;
  double seconds{0};
  std::vector<Injection> injections{};
  std::optional<Motion> grip{};
  std::vector<LaidPulse> pulses{};
};

// Named steps inside a control element, and how often they run; of a repeat also those of its check.
struct Body {
  const std::vector<PlanStep>& steps;
  std::int64_t times{1};
  const std::vector<PlanStep>* check{nullptr};
};

struct StimulusKind {
  KindEntry entry;
  // A stimulus: its movement from where the signals are. Empty after telling why there is none. Null for control
  // elements.
  std::function<std::optional<Movement>(const std::any& settings, Drafting&)> move;
  // Its place in the program. Null: one step, made of `move`.
  std::function<std::vector<TimelineItem>(const PlanStep&, Drafting&)> items;
  // A control element: the named steps inside. Null: none.
  std::function<Body(const std::any& settings)> body;
};

const std::vector<StimulusKind>& stimulus_table();
// Null when there is no such kind.
const StimulusKind* find_stimulus(const std::string& kind);

// Beside each kind's own keys every element may have these.
struct ElementKeys {
  std::optional<Name> name;
  bool implausible_meant{false};
};
const Fields<ElementKeys>& element_fields();

// A list of at least one element, read and described.
Shape<std::vector<PlanStep>> element_list();

// Keys that name a signal and the bounds within which it meets a condition.
struct ConditionKeys {
  Name signal;
  std::optional<Located<Quantity>> at_least, at_most;
};

// Keys of every stimulus that drives a signal: it is kept within these limits, and a bench's own limit takes the place
// of one that is not given.
struct LimitKeys {
  std::optional<Located<Quantity>> slew, acceleration, jerk;
};
struct DriveKeys : LimitKeys {
  Name signal;
};
template <class T>
Fields<T> with_limits(Fields<T> fields) {
  return fields
      .may("slew", &T::slew, maybe(any_quantity()),
           "greatest rate, in the signal's unit per second; not given: the bench's max_slew")
      .may("acceleration", &T::acceleration, maybe(any_quantity()),
           "greatest acceleration, in the signal's unit per second squared; not given: no limit")
      .may("jerk", &T::jerk, maybe(any_quantity()),
           "greatest jerk, in the signal's unit per second cubed; not given: the bench's max_jerk");
}
template <class T>
Fields<T> driving(Fields<T> fields) {
  return with_limits(fields.need("signal", &T::signal, name(), "the driven signal"));
}

template <class T>
StimulusKind stimulus(const std::string& name, const Fields<T>& (*table)(),
                      std::optional<Movement> (*move)(const T&, Drafting&)) {
  return {kind(name, table),
          [move](const std::any& s, Drafting& d) { return move(std::any_cast<const T&>(s), d); },
          {},
          {}};
}

// One line each of the table, in the file of the same name.
StimulusKind hold_stimulus();
StimulusKind step_stimulus();
StimulusKind ramp_stimulus();
StimulusKind staircase_stimulus();
StimulusKind triangle_stimulus();
StimulusKind sine_stimulus();
StimulusKind chirp_stimulus();
StimulusKind noise_stimulus();
StimulusKind profile_stimulus();
StimulusKind supply_stimulus();
StimulusKind inject_stimulus();
StimulusKind grip_stimulus();
StimulusKind pulse_stimulus();
StimulusKind repeat_element();
StimulusKind grid_element();
StimulusKind seek_element();
StimulusKind parallel_element();
StimulusKind road_element();
StimulusKind wait_element();

// Longest time that a key of a plan may give.
inline constexpr Duration longest_time = std::chrono::hours{24 * 7};
inline constexpr Duration shortest_time = std::chrono::milliseconds{1};

}  // namespace trackrod
