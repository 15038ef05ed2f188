#pragma once
// The state of a plan while it is worked out: where each driven signal is, and what the bench allows it.

#include <map>
#include <optional>
#include <string>
#include <utility>
#include <vector>

#include "harness/plan/moves.hpp"
#include "harness/plan/stimulus.hpp"

namespace trackrod {

// A signal as a stimulus drives it.
struct Drive {
  SignalIndex signal{no_signal};
  const SignalSpec* spec{nullptr};
  double start{0};  // where it is; NaN when an earlier step could not be worked out
  Limits limits;    // the stimulus' own, where it has none the bench's
};

// Every function that returns an optional has told problems() when it comes back empty.
class Drafting {
 public:
  Drafting(const Plan& plan, const Bench& bench, Problems& problems, std::vector<TimelineStep>& steps,
           std::vector<double> start);

  const Bench& bench() const { return bench_; }
  Problems& problems() { return *problems_; }
  std::vector<TimelineStep>& steps() { return steps_; }       // made so far
  const std::vector<double>& values() const { return now_; }  // where the signals are, by SignalIndex

  // A signal of the bench, in either direction.
  std::optional<SignalIndex> signal(const Name& name);
  // A signal that the plan may drive: in direction `drive`, and of an axis only in its chosen control mode.
  std::optional<SignalIndex> drivable(const Name& name);
  std::optional<Drive> drive(const Name& name, const LimitKeys& limits);
  std::optional<Drive> drive(const DriveKeys& keys) { return drive(keys.signal, keys); }

  // In the signal's unit.
  std::optional<double> reading(const Located<Quantity>& given, SignalIndex signal);
  // As above, within the signal's range.
  std::optional<double> target(const Located<Quantity>& given, SignalIndex signal);
  // A positive difference of two values, an amplitude.
  std::optional<double> distance(const Located<Quantity>& given, SignalIndex signal);
  // A positive rate (order 1), acceleration (2) or jerk (3), not beyond `most`; `whose` names that limit.
  std::optional<double> derivative(const Located<Quantity>& given, SignalIndex signal, int order, double most,
                                   const std::string& whose);
  // The rate of a stimulus that has one of its own: not beyond its slew limit.
  std::optional<double> rate(const Located<Quantity>& given, const Drive& drive);

  // Of a signal in either direction.
  std::optional<Condition> condition(const ConditionKeys& keys, const Where& at);

  // Whether the motion stays in the signal's range and within `limits`.
  bool keeps(const Motion& motion, SignalIndex signal, const Limits& limits, const Where& at);

  // Place of the stimulus that is worked out.
  const Where& at() const { return at_; }

  // From here to leave_road() the load model has the rack: the signals that it drives are not the plan's. False after
  // telling why it cannot.
  bool enter_road(double grip, const Where& at);
  void leave_road();
  // Of the road, as the steps have made it; nothing after telling that there is none.
  std::optional<double> grip();

  // While one lives, what is worked out runs more than once: in a repeat or a seek.
  class Loop {
   public:
    explicit Loop(Drafting& draft) : draft_{draft} { ++draft_.loops_; }
    Loop(const Loop&) = delete;
    Loop& operator=(const Loop&) = delete;
    ~Loop() { --draft_.loops_; }

   private:
    Drafting& draft_;
  };
  bool in_loop() const { return loops_ > 0; }
  // A signal that is no longer where it was.
  std::optional<SignalIndex> moved_since(const std::vector<double>& began) const;

  // Puts a step into the timeline. Its length is at least one tick of the loop.
  TimelineItem add(const PlanStep& step, TimelineStep made);
  // The movement of one stimulus, held against the bench's limits; the signals are then where it ends.
  std::optional<Movement> move(const PlanStep& step);
  // The program of a list of steps.
  std::vector<TimelineItem> program(const std::vector<PlanStep>& steps);
  // As above, for another pass through steps whose problems, if any, are told already.
  std::vector<TimelineItem> program_again(const std::vector<PlanStep>& steps);

 private:
  std::vector<TimelineItem> items_of(const PlanStep& step);
  std::vector<TimelineItem> items_within(const PlanStep& step);
  std::optional<Limits> limits(const LimitKeys& given, SignalIndex signal);
  void check_trip(const PlanStep& step, const Channel& channel);
  void forget_values();

  const Plan& plan_;
  const Bench& bench_;
  Problems* problems_;
  std::vector<TimelineStep>& steps_;
  std::vector<double> now_;
  std::map<std::string, std::uint32_t> ids_;
  Where at_;
  bool on_road_{false};
  double grip_{0.0};
  int loops_{0};
  Where road_at_;                  // of the element that gave the rack to the load model
  bool implausible_meant_{false};  // of the step that is worked out, or of a repeat around it
};

// The unit of a signal's rate (order 1), acceleration (2), jerk (3): "deg/s", "deg/s^2".
std::string rate_unit(const std::string& unit, int order = 1);
// A value and its unit in words: "30 deg".
std::string in_words(double value, const std::string& unit);

}  // namespace trackrod
