// The load model on this bench: what it reads and drives, and whether the bench can be as stiff as its vehicle.

#include <algorithm>

#include "harness/bench/draft.hpp"
#include "harness/load/stiffness.hpp"

namespace trackrod {
namespace {

// What one unit of the signal is in `unit`. `kind`: such as "a force".
std::optional<double> gain_of(const Name& name, SignalIndex signal, const std::string& unit, const std::string& kind,
                              Draft& draft) {
  const auto& own = draft.signals[signal].unit;
  if (const auto to = Conversion::between(own, Unit::known(unit))) return to->gain();
  draft.problems.add(name.at, "'" + name.value + "' is in " + own.text(),
                     "a signal that is " + kind + ", such as in " + unit);
  return std::nullopt;
}

void take_angle(const written::Load& w, LoadSpec& load, Draft& draft) {
  const auto angle = draft.find(w.angle, Direction::read, "the angle that the load model answers to");
  if (!angle) return;
  draft.must_be_bench_owned(w.angle, *angle, "a fault of the unit's own sensor must not set the force at its rack");
  load.angle = *angle;
  const auto travel = Conversion::between(draft.signals[*angle].unit, Unit::known("m"));
  if (travel)
    load.angle_gain = travel->gain() / load.vehicle.steering_arm;
  else
    load.angle_gain =
        gain_of(w.angle, *angle, "rad", "an angle of the road wheel or a travel of the rack", draft).value_or(0.0);

  const auto device = draft.bench.find_device(draft.info(*angle).device);
  if (!device || !draft.devices[*device].sound) return;
  const auto timeout = draft.bench.devices[*device].timeout;
  if (w.stale.value <= draft.bench.tick || w.stale.value >= timeout)
    draft.problems.add(w.stale.at, "found " + shown(1e3 * seconds(w.stale.value)) + " ms",
                       "more than " + shown(1e3 * seconds(draft.bench.tick)) +
                           " ms, a tick of the loop, and less than " + shown(1e3 * seconds(timeout)) +
                           " ms, after which the device of '" + w.angle.value + "' is lost",
                       "a few cycles of its messages");
}

void take_speed(const written::Load& w, LoadSpec& load, Draft& draft) {
  const auto speed = draft.find(w.speed, Direction::drive, "the speed of the load model's vehicle");
  if (!speed) return;
  load.speed = *speed;
  load.speed_gain = gain_of(w.speed, *speed, "m/s", "a speed", draft).value_or(0.0);
}

// A signal that the model drives: `gain` is what it has to send for one of `unit`.
SignalIndex take_driven(const Name& name, const std::string& unit, const std::string& kind, double& gain,
                        Draft& draft) {
  const auto signal = draft.find(name, Direction::drive, kind + " that the load model drives");
  if (!signal) return no_signal;
  if (const auto own = gain_of(name, *signal, unit, kind, draft)) gain = 1.0 / *own;
  const auto& info = draft.info(*signal);
  if (info.range_low >= 0.0 || info.range_high <= 0.0)
    draft.problems.add(name.at, "'" + name.value + "' goes from " + draft.range_of(*signal),
                       "a range to either side of 0", "the model's vehicle turns left and right");
  return *signal;
}

void take_force(const written::Load& w, bool safe_state_known, LoadSpec& load, Draft& draft) {
  load.force = take_driven(w.force, "N", "a force", load.force_gain, draft);
  if (load.force == no_signal) return;
  if (draft.info(load.force).max_slew <= 0.0)
    draft.problems.add(w.force.at, "'" + w.force.value + "' has no 'max_slew'",
                       "a force whose rate of change the bench limits",
                       "what the actuator and the rack bear, e.g. 50 kN/s");
  const auto& actions = draft.bench.safe_state.actions;
  const bool taken_off = std::ranges::any_of(actions, [&](const Action& a) {
    return a.kind == Action::Kind::set && a.signal == load.force && a.value == 0.0;
  });
  if (safe_state_known && !taken_off)
    draft.problems.add(w.force.at, "the safe state does not take the force '" + w.force.value + "' off",
                       "a line in the safe state that sets it to 0", "behind the controlled stop of the hand wheel");
}

void take_stability(const written::Load& w, LoadSpec& load, Draft& draft) {
  if (!w.stability) return;
  const auto& measured = w.stability->value;
  load.stability = LoadStability{measured.delay, measured.damping};
  const double asked = greatest_stiffness(load.vehicle), most = load.stability->most_stiffness();
  if (asked <= most) return;
  draft.problems.add(w.stability->at, "the vehicle is up to " + shown(1e-3 * asked, 4) + " kN/m stiff at the rack",
                     "at most " + shown(1e-3 * most, 4) + " kN/m, half of damping by delay",
                     "a spring that is late swings by itself: give softer scrub_stiffness, rack_friction_stiffness or "
                     "tyres, or make the loop faster, or the rack better damped, and measure again");
}

void take_energy(const written::Load& w, LoadSpec& load, Draft& draft) {
  if (!w.energy) return;
  const auto& e = *w.energy;
  const auto force = draft.find(e.force, Direction::read, "the force by which the load's energy is known");
  const auto at_most = draft.convert(e.at_most, Unit::known("W.s"));
  if (!force || !at_most) return;
  draft.must_be_bench_owned(e.force, *force, "what was sent to the actuator is not what it did");
  const auto gain = gain_of(e.force, *force, "N", "a force", draft);
  if (*at_most <= 0.0) draft.problems.add(e.at_most.at, "found " + shown(e.at_most.value), "more than 0 W.s");
  if (gain) load.energy = LoadEnergy{*force, *gain, *at_most, e.within};
}

}  // namespace

void resolve_load(const written::Bench& file, Draft& draft) {
  if (!file.load || !file.load->good) return;
  const auto& w = file.load->value;
  LoadSpec load;
  load.vehicle = w.vehicle;
  load.stale = w.stale.value;
  load.fade = w.fade;
  take_angle(w, load, draft);
  take_speed(w, load, draft);
  take_force(w, draft.safe_state_known(file), load, draft);
  if (w.yaw_rate) load.yaw_rate = take_driven(*w.yaw_rate, "rad/s", "a rate of yaw", load.yaw_gain, draft);
  if (w.lateral_acceleration)
    load.lateral_acceleration =
        take_driven(*w.lateral_acceleration, "m/s^2", "an acceleration", load.acceleration_gain, draft);
  take_stability(w, load, draft);
  take_energy(w, load, draft);
  draft.bench.load = std::move(load);
}

}  // namespace trackrod
