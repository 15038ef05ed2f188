// The score `degraded`: what a unit does about a fault: how soon, what it says of it, what it can still do, and what
// comes back. docs/scores/degraded.md.

#include <algorithm>
#include <cmath>

#include "harness/score/budget.hpp"
#include "harness/score/degraded_figures.hpp"
#include "harness/score/degraded_performance.hpp"
#include "harness/score/fault_case.hpp"
#include "harness/score/fault_times.hpp"
#include "harness/score/findings.hpp"
#include "harness/score/order_statistics.hpp"
#include "harness/score/scores.hpp"
#include "harness/score/scoring.hpp"

namespace trackrod {
namespace {

// Stands for a fault whose onset the harness tells itself.
const SignalInfo& as_made() {
  static const auto info = [] {
    SignalInfo made;
    made.name = "the faults that were made";
    made.bench_owned = true;
    return made;
  }();
  return info;
}
Frame frame_as_made(const ScoreInput& input, const SignalInfo& output) {
  return {"degraded",
          step_names(input.spans),
          {output.name},
          {{"measured_between", output.bench_owned ? "end to end" : "internal"}, {"onset", "as the bench made it"}}};
}

class Degraded {
 public:
  explicit Degraded(const ScoreInput& input);
  ScoreResult run() const;

 private:
  Finding missing(const std::string& name, const std::string& why) const;
  bool given(const std::string& role) const { return input_.signal(role) < input_.capture.signals().size(); }
  const SignalInfo& info(const std::string& role) const { return input_.capture.signals()[input_.signal(role)]; }
  std::size_t count(const std::function<bool(const FaultCase&)>& is) const {
    return static_cast<std::size_t>(std::count_if(all_.found.begin(), all_.found.end(), is));
  }
  Finding counted(const std::string& name, std::size_t n) const {
    return frame_.exact(name, "1", static_cast<double>(n));
  }

  Finding faults() const;
  FaultTimes reactions(std::string& why) const;
  void add_reaction(ScoreResult& result) const;
  void add_shown(ScoreResult& result, const std::string& role) const;
  void add_warnings(ScoreResult& result) const;
  void add_healthy(ScoreResult& result) const;
  Finding recovery() const;

  const ScoreInput& input_;
  const DegradedSettings& settings_;
  const SignalInfo &in_, &out_;
  Frame frame_;
  FaultCases all_;
};

Degraded::Degraded(const ScoreInput& input)
    : input_{input},
      settings_{std::any_cast<const DegradedSettings&>(input.settings)},
      in_{given("input") ? info("input") : as_made()},
      out_{input.capture.signals()[input.signal("output")]},
      frame_{given("input") ? pair_frame(input, "degraded", step_names(input.spans)) : frame_as_made(input, out_)},
      all_{read_fault_cases(input, settings_)} {
  for (const auto* role : {"reference", "warning", "detection"})
    if (given(role)) frame_.signals.push_back(info(role).name);
  if (!all_.found.empty()) frame_.conditions.emplace_back("faults", std::to_string(all_.found.size()));
}

// A fault that did not take says nothing of the unit: then there was nothing to score.
Finding Degraded::missing(const std::string& name, const std::string& why) const {
  for (const auto& kind : degraded_score().entry.findings)
    if (kind.name == name)
      return frame_.missing(name, finding_unit(kind.unit, in_.unit, out_.unit), why, !all_.found.empty());
  return frame_.missing(name, "1", why, !all_.found.empty());
}

Finding Degraded::faults() const {
  const auto found = all_.found.size();
  const auto inserted = static_cast<std::size_t>(settings_.inserted.value_or(static_cast<std::int64_t>(found)));
  if (!all_.early.empty()) return missing("faults", all_.early);
  if (found != inserted)
    return missing("faults", std::to_string(inserted) + " were to be inserted, and " + std::to_string(found) +
                                 " are to be seen on '" + in_.name + "'");
  auto f = counted("faults", found);
  std::size_t bounces = 0;
  for (const auto& c : all_.found) bounces = std::max(bounces, c.fault.bounces);
  f.conditions.emplace_back("bounces", "at most " + std::to_string(bounces) + " in one fault");
  return f;
}

// Why not all are known; empty: they are.
FaultTimes Degraded::reactions(std::string& why) const {
  FaultTimes times;
  for (const auto& c : all_.found) {
    if (c.effect.in_hand) times.add(*c.effect.in_hand, c.fault.begin);
    if (!c.effect.trouble.empty() && !c.effect.quiet) why = c.effect.trouble;
  }
  const auto never = count([](const FaultCase& c) { return c.effect.never; });
  if (never > 0) why = "in " + some_of(never, all_.found.size()) + " faults the output was not in hand for good";
  if (why.empty() && times.size() == 0) why = all_.found.front().effect.trouble;
  return times;
}

void Degraded::add_reaction(ScoreResult& result) const {
  std::string why;
  const auto times = reactions(why);
  const auto shift = time_shift_budget(in_, out_, 0.0, 0.0);
  if (!why.empty()) {
    for (const auto* name : {"reaction_time", "reaction_bound", "margin"})
      result.findings.push_back(missing(name, why));
    return;
  }
  auto frame = frame_;
  const auto quiet = count([](const FaultCase& c) { return c.effect.quiet; });
  if (quiet > 0) frame.conditions.emplace_back("without_effect", some_of(quiet, all_.found.size()));
  const auto n = times.size();
  const double sure_share = 100.0 * std::pow(1.0 - 0.01 * settings_.confidence, 1.0 / static_cast<double>(n));
  frame.conditions.emplace_back("greatest_of", std::to_string(n));
  frame.conditions.emplace_back("holds_for", "at least " + with_unit(sure_share, "%") + " of all faults, with " +
                                                 with_unit(settings_.confidence, "%") + " confidence");
  const auto greatest = times.of_rank(n);
  result.findings.push_back(bounded_time(frame, "reaction_time", greatest, shift));
  if (const auto rank = tolerance_rank(n, 0.01 * settings_.share, 0.01 * settings_.confidence)) {
    auto told = frame;
    told.conditions.emplace_back("rank", some_of(*rank, n));
    result.findings.push_back(bounded_time(told, "reaction_bound", times.of_rank(*rank), shift));
  } else {
    const auto fewest = fewest_for_tolerance(0.01 * settings_.share, 0.01 * settings_.confidence);
    result.findings.push_back(missing(
        "reaction_bound", std::to_string(n) + " faults tell no bound for " + with_unit(settings_.share, "%") +
                              " of all with " + with_unit(settings_.confidence, "%") + " confidence; it takes " +
                              std::to_string(fewest) + ", at phases drawn at random"));
  }
  const double allowed = seconds(settings_.fault_tolerant_time);
  if (allowed <= 0.0)
    result.findings.push_back(missing("margin", "no \"fault_tolerant_time\" in the plan"));
  else
    result.findings.push_back(bounded_time(frame, "margin", {allowed - greatest.high, allowed - greatest.low}, shift));
}

void Degraded::add_shown(ScoreResult& result, const std::string& role) const {
  const auto name = role + "_time";
  const auto shown = [&](const FaultCase& c) { return role == "warning" ? c.warning : c.detection; };
  FaultTimes times;
  for (const auto& c : all_.found)
    if (const auto w = shown(c); w && w->outcome == FaultWarning::Outcome::right) times.add(*w->at, c.fault.begin);
  std::string why;
  if (!given(role))
    why = "no signal plays the role '" + role + "'";
  else if (!shown(all_.found.front()))
    why = role == "warning" ? "no \"right\" and \"none\" in the plan" : "no \"detected\" in the plan";
  else if (times.size() < all_.found.size())
    why = "only " + some_of(times.size(), all_.found.size()) + " faults were shown " +
          (role == "warning" ? "by the right warning" : "by the flag") + ", from off to on";
  if (!why.empty()) return result.findings.push_back(missing(name, why));
  auto frame = frame_;
  frame.conditions.emplace_back("greatest_of", std::to_string(times.size()));
  if (role == "detection") frame.conditions.emplace_back("meaning", "detected not later than this");
  result.findings.push_back(
      bounded_time(frame, name, times.of_rank(times.size()), time_shift_budget(in_, info(role), 0.0, 0.0)));
}

void Degraded::add_warnings(ScoreResult& result) const {
  const auto n = all_.found.size();
  if (!all_.found.front().warning) {
    for (const auto* name : {"right_warnings", "wrong_warnings", "missing_warnings", "false_warnings",
                             "lapsed_warnings", "lasting_warnings"})
      result.findings.push_back(missing(
          name, given("warning") ? "no \"right\" and \"none\" in the plan" : "no signal plays the role 'warning'"));
    return;
  }
  const auto with = [&](FaultWarning::Outcome outcome) {
    return count([outcome](const FaultCase& c) { return c.warning->outcome == outcome; });
  };
  using enum FaultWarning::Outcome;
  const auto bounds = proportion_bounds(with(right), n, 0.95);
  auto f = frame_.measured("right_warnings", "%", 100.0 * static_cast<double>(with(right)) / static_cast<double>(n),
                           {type_b("number of faults (Clopper and Pearson)", 25.0 * (bounds[1] - bounds[0]))});
  f.interval = {100.0 * bounds[0], 100.0 * bounds[1]};
  f.conditions.emplace_back("right", some_of(with(right), n));
  f.conditions.emplace_back("already_shown", some_of(with(unclear), n));
  result.findings.push_back(std::move(f));
  result.findings.push_back(counted("wrong_warnings", with(wrong)));
  result.findings.push_back(counted("missing_warnings", with(FaultWarning::Outcome::missing)));
  result.findings.push_back(
      counted("false_warnings", count([](const FaultCase& c) { return c.warning->false_before; })));
  result.findings.push_back(counted("lapsed_warnings", count([](const FaultCase& c) { return c.warning->lapsed; })));
  if (count([](const FaultCase& c) { return c.fault.end.has_value(); }) == 0)
    result.findings.push_back(this->missing("lasting_warnings", "no fault was cleared within the steps"));
  else
    result.findings.push_back(counted("lasting_warnings", count([](const FaultCase& c) { return c.warning->stayed; })));
}

// Of steps in which nothing was to be wrong.
void Degraded::add_healthy(ScoreResult& result) const {
  for (const auto& kind : degraded_score().entry.findings) {
    if (kind.name == "faults")
      result.findings.push_back(counted(kind.name, 0));
    else if (kind.name == "false_warnings" && all_.shown_without)
      result.findings.push_back(counted(kind.name, *all_.shown_without));
    else
      result.findings.push_back(missing(kind.name, "no fault was to be inserted"));
  }
}

Finding Degraded::recovery() const {
  const auto cleared = count([](const FaultCase& c) { return c.fault.end.has_value(); });
  if (!all_.found.front().warning) return missing("recovery_time", "no warning is read, which would go off");
  if (cleared == 0) return missing("recovery_time", "no fault was cleared within the steps");
  FaultTimes times;
  for (const auto& c : all_.found)
    if (c.warning->off) times.add(*c.warning->off, *c.fault.end);
  if (times.size() < cleared)
    return missing("recovery_time", "after " + some_of(cleared - times.size(), cleared) +
                                        " cleared faults no warning went off: it stayed, or was off before");
  return bounded_time(frame_, "recovery_time", times.of_rank(times.size()),
                      time_shift_budget(in_, info("warning"), 0.0, 0.0));
}

ScoreResult Degraded::run() const {
  ScoreResult result;
  if (all_.found.empty() && settings_.inserted == 0) {
    add_healthy(result);
    return result;
  }
  if (all_.found.empty()) {
    for (const auto& kind : degraded_score().entry.findings)
      result.findings.push_back(missing(kind.name, all_.trouble));
    return result;
  }
  result.findings.push_back(faults());
  add_reaction(result);
  result.findings.push_back(counted("unhandled", count([](const FaultCase& c) { return c.effect.never; })));
  add_shown(result, "detection");
  add_shown(result, "warning");
  add_warnings(result);
  const auto none = [this](const std::string& name, const std::string& why) { return missing(name, why); };
  result.findings.push_back(departure_of(all_.found, settings_, out_, frame_, none));
  for (auto& f : performance_of(all_.found, frame_, none)) result.findings.push_back(std::move(f));
  result.findings.push_back(recovery());
  const auto what = settings_.safe.size() == 2 ? out_.name : "departure of " + out_.name;
  result.figures.push_back(fault_time_line(all_.found, settings_, what + " (" + out_.unit + ")"));
  if (all_.found.size() > 1) result.figures.push_back(times_by_fault(all_.found));
  return result;
}

}  // namespace

ScoreKind degraded_score() {
  using enum ScoreRole::Need;
  ScoreKind score;
  score.entry.settings = kind("degraded", degraded_fields);
  score.entry.roles = {
      {"input",
       "what shows that the fault is there, sensed where it acts, such as the voltage behind a fault relay; without it "
       "the faults are those that the plan injects, as the bench saw them",
       optional},
      {"output", "the physical effect, by a sensor of the bench, such as its angle sensor at the road wheel"},
      {"reference", "what the output should follow, such as the bench's angle sensor at the hand wheel", optional},
      {"warning", "what the unit warns with: lamp, code, or what its fault memory says", optional},
      {"detection", "a flag of the unit that it has detected the fault", optional}};
  score.entry.findings = {
      {"faults", "1", "number of faults that took"},
      {"reaction_time", "ms", "from the onset until the output is in hand for good: the greatest of all faults"},
      {"reaction_bound", "ms", "what a stated share of all faults stays below, with a stated confidence"},
      {"margin", "ms", "\"fault_tolerant_time\" less the greatest reaction time"},
      {"unhandled", "1", "number of faults in which the output was not in hand for good"},
      {"detection_time", "ms", "from the onset until the flag shows: detected not later; the greatest"},
      {"warning_time", "ms", "from the onset until the right warning shows; the greatest"},
      {"right_warnings", "%", "share of the faults with the right warning and no wrong one"},
      {"wrong_warnings", "1", "number of faults with a wrong warning"},
      {"missing_warnings", "1", "number of faults without a warning"},
      {"false_warnings", "1", "number of times that a warning came on without a fault"},
      {"lapsed_warnings", "1", "number of faults whose warning went off for good while they were there"},
      {"lasting_warnings", "1", "number of cleared faults whose warning stayed until the steps were over"},
      {"departure", "output", "greatest departure from what the reference asks, before it was in hand"},
      {"gain_left", "%", "gain from reference to output in the fault, of that before"},
      {"lag_added", "ms", "lag of the output in the fault less that before"},
      {"gain_returned", "%", "gain after the fault was cleared, of that before"},
      {"recovery_time", "ms", "from when the fault is cleared until no warning is shown, for good; the greatest"}};
  score.run = [](const ScoreInput& input) { return Degraded{input}.run(); };
  return score;
}

}  // namespace trackrod
