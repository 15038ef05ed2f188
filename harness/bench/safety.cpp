// What moves and what keeps it harmless: axes, interlocks, arming and the safe state.

#include <array>
#include <tuple>

#include "harness/bench/draft.hpp"

namespace trackrod {
namespace {

std::optional<Action> resolve_action(const written::Action& w, Draft& draft) {
  Action action;
  if (w.sets) {
    const auto signal = draft.find(w.signal, Direction::drive, "'set'");
    if (!signal) return std::nullopt;
    const auto value = draft.value_of(*signal, w.to);
    if (!value) return std::nullopt;
    action.signal = *signal;
    action.value = *value;
    return action;
  }
  action.kind = Action::Kind::wait;
  action.at_most = w.within.value;
  const auto signal = draft.find(w.signal, Direction::read, "'wait'");
  if (!signal) return std::nullopt;
  const auto until = draft.limits_of(*signal, w, w.at);
  if (!until) return std::nullopt;
  action.until = *until;
  const auto& info = draft.info(*signal);
  if (until->low > info.range_high || until->high < info.range_low) {
    const auto& q = until->low > info.range_high ? *w.at_least : *w.at_most;
    draft.problems.add(q.at, "found " + shown(q.value) + ", never reached",
                       draft.range_of(*signal) + ", the range of '" + info.name + "'");
    return std::nullopt;
  }
  return action;
}

std::vector<Action> resolve_actions(const std::vector<written::Part<written::Action>>& lines, Draft& draft) {
  std::vector<Action> actions;
  for (const auto& line : lines)
    if (line.good)
      if (const auto action = resolve_action(line.value, draft)) actions.push_back(*action);
  return actions;
}

// What a setpoint of that mode measures: an axis turns or slides.
std::array<const char*, 2> setpoint_units(ControlMode mode) {
  switch (mode) {
    case ControlMode::velocity:
      return {"deg/s", "m/s"};
    case ControlMode::torque:
      return {"Nm", "N"};
    default:
      return {"deg", "m"};
  }
}

void resolve_mode(ControlMode kind, const written::Mode& w, const std::optional<SignalIndex>& mode_signal,
                  AxisSpec& axis, Draft& draft) {
  AxisMode mode{kind, w.code.value, no_signal};
  if (mode_signal) {
    const auto& info = draft.info(*mode_signal);
    if (mode.code < info.range_low || mode.code > info.range_high)
      draft.problems.add(w.code.at, "found the code " + shown(mode.code),
                         draft.range_of(*mode_signal) + ", the range of '" + info.name + "'");
  }
  for (const auto& other : axis.modes)
    if (other.code == mode.code)
      draft.problems.add(w.code.at,
                         "the code " + shown(mode.code) + " stands for '" + control_mode_name(other.mode) + "' already",
                         "another code for each mode");
  if (kind != ControlMode::free) {
    if (const auto setpoint = draft.find(w.setpoint, Direction::drive, "'setpoint'")) {
      mode.setpoint = *setpoint;
      const auto units = setpoint_units(kind);
      const auto& unit = draft.signals[*setpoint].unit;
      if (!unit.same_dimension(Unit::known(units[0])) && !unit.same_dimension(Unit::known(units[1])))
        draft.problems.add(w.setpoint.at, "'" + w.setpoint.value + "' is in " + unit.text(),
                           std::string{"a driven signal in a unit such as "} + units[0] + " or " + units[1] +
                               " for the mode '" + control_mode_name(kind) + "'");
    }
  }
  axis.modes.push_back(mode);
}

// An interlock beyond what the signal reads would never trip.
void check_reach(const written::Interlock& w, const Condition& c, Draft& draft) {
  const auto& info = draft.info(c.signal);
  const auto check = [&](const std::optional<written::LocatedQuantity>& q, double limit) {
    if (q && (limit < info.range_low || limit > info.range_high))
      draft.problems.add(q->at, "found " + shown(q->value) + ", which would never trip",
                         draft.range_of(c.signal) + ", the range of '" + info.name + "'");
  };
  check(w.at_least, c.low);
  check(w.at_most, c.high);
}

// Whether a contact opens can be tried, as that of an emergency stop; a word about it would prove nothing.
void check_proof(const written::Interlock& w, SignalIndex signal, Draft& draft) {
  if (!w.proof || w.proof->value != Proof::confirm) return;
  const auto& info = draft.info(signal);
  if (info.unit == "1" && info.range_low == 0.0 && info.range_high == 1.0)
    draft.problems.add(w.proof->at, "found 'confirm' for '" + info.name + "', a contact", "'exercise'",
                       "an emergency stop is pressed, never believed");
}

}  // namespace

void resolve_axes(const written::Bench& file, Draft& draft) {
  for (const auto& [name, part] : file.axes) {
    if (!part.good) continue;
    AxisSpec axis{name.value, no_signal, {}};
    const auto mode_signal = draft.find(part.value.mode_signal, Direction::drive, "'mode_signal'");
    axis.mode_signal = mode_signal.value_or(no_signal);
    const auto& m = part.value.modes.value;
    for (const auto& [kind, mode] :
         {std::pair{ControlMode::position, &m.position}, std::pair{ControlMode::velocity, &m.velocity},
          std::pair{ControlMode::torque, &m.torque}, std::pair{ControlMode::impedance, &m.impedance},
          std::pair{ControlMode::free, &m.free}})
      if (*mode) resolve_mode(kind, (*mode)->value, mode_signal, axis, draft);
    if (axis.modes.empty())
      draft.problems.add(part.value.modes.at, "no mode",
                         "at least one of 'position', 'velocity', 'torque', 'impedance' or 'free'");
    draft.bench.axes.push_back(std::move(axis));
  }
}

void resolve_interlocks(const written::Bench& file, Draft& draft) {
  for (const auto& [name, part] : file.interlocks) {
    if (!part.good) continue;
    const auto& w = part.value;
    const auto signal = draft.find(w.signal, Direction::read, "an interlock");
    if (!signal) continue;
    draft.must_be_bench_owned(w.signal, *signal,
                              "the unit under test is the hazard; its own sensors must not guard it");
    const auto condition = draft.limits_of(*signal, w, part.at);
    if (!condition) continue;
    check_reach(w, *condition, draft);
    check_proof(w, *signal, draft);
    draft.bench.interlocks.push_back(
        {name.value, *condition, w.grace.value, w.protects, w.proof ? w.proof->value : Proof::none});
  }
  draft.bench.proof_lasts = file.proof_lasts;
}

void resolve_arming(const written::Bench& file, Draft& draft) {
  draft.bench.arming = resolve_actions(file.arming, draft);
}

void resolve_safe_state(const written::Bench& file, Draft& draft) {
  const auto& w = file.safe_state.value;
  draft.bench.safe_state = {resolve_actions(w.actions.value, draft), w.within.value};
  if (!file.safe_state.good) return;
  Duration waits{};
  bool proves = false;
  for (const auto& line : w.actions.value)
    if (!line.value.sets) {
      proves = true;
      waits += line.value.within.value;
    }
  if (!proves)
    draft.problems.add(w.actions.at, "only writes",
                       "at least one 'wait' that proves the effect, e.g. that the speed is near 0",
                       "a write may be lost; a safe state that nobody measures is a hope");
  if (waits > w.within.value)
    draft.problems.add(w.within.at, "found " + with_unit(seconds(w.within.value) * 1e3, "ms"),
                       "at least " + with_unit(seconds(waits) * 1e3, "ms") + ", the sum of the waits in 'do'",
                       "allow more time, or shorten the waits");
}

}  // namespace trackrod
