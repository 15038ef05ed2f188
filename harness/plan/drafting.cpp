#include "harness/plan/drafting.hpp"

#include <algorithm>
#include <array>
#include <cmath>

#include "harness/plan/trip_travel.hpp"

namespace trackrod {
namespace {

constexpr double slack = 1 + 1e-9;  // for rounding only

Limits bench_limits(const SignalSpec& spec) {
  Limits limits;
  if (spec.info.max_slew > 0) limits.slew = spec.info.max_slew;
  if (spec.max_jerk > 0) limits.jerk = spec.max_jerk;
  return limits;
}

// The axis that `signal` is the setpoint of, null when of none.
const AxisSpec* axis_of_setpoint(const Bench& bench, SignalIndex signal) {
  for (const auto& axis : bench.axes)
    for (const auto& mode : axis.modes)
      if (mode.setpoint == signal) return &axis;
  return nullptr;
}

std::vector<std::string> drive_names(const Bench& bench) {
  std::vector<std::string> names;
  for (const auto& s : bench.signals)
    if (s.info.direction == Direction::drive) names.push_back(s.info.name);
  return names;
}

}  // namespace

std::string rate_unit(const std::string& unit, int order) {
  return unit + "/s" + (order > 1 ? "^" + std::to_string(order) : "");
}

std::string in_words(double value, const std::string& unit) {
  return unit == "1" ? shown(value) : shown(value) + " " + unit;
}

Drafting::Drafting(const Plan& plan, const Bench& bench, Problems& problems, std::vector<TimelineStep>& steps,
                   std::vector<double> start)
    : plan_{plan}, bench_{bench}, problems_{&problems}, steps_{steps}, now_{std::move(start)} {}

std::optional<SignalIndex> Drafting::signal(const Name& name) {
  const auto found = bench_.find(name.value);
  if (!found) {
    const auto names = bench_.signal_names();
    problems_->add(name.at, "unknown signal '" + name.value + "'", "a signal of the bench: " + one_of(names),
                   did_you_mean(name.value, names));
  }
  return found;
}

std::optional<SignalIndex> Drafting::drivable(const Name& name) {
  const auto found = signal(name);
  if (!found) return {};
  const auto names = drive_names(bench_);
  if (bench_.signals[*found].info.direction != Direction::drive) {
    problems_->add(name.at, "signal '" + name.value + "' is read from the bench", "a driven signal: " + one_of(names));
    return {};
  }
  for (const auto& axis : bench_.axes)
    if (axis.mode_signal == *found) {
      problems_->add(name.at, "signal '" + name.value + "' sets the control mode of axis '" + axis.name + "'",
                     "a driven signal that is no control mode",
                     "choose the mode for the whole plan: \"control\": {\"" + axis.name + "\": \"position\"}");
      return {};
    }
  const auto* axis = axis_of_setpoint(bench_, *found);
  if (axis == nullptr) return found;
  const auto chosen =
      std::find_if(plan_.control.begin(), plan_.control.end(), [&](const auto& c) { return c.first == axis->name; });
  for (const auto& mode : axis->modes)
    if (chosen != plan_.control.end() && mode.mode == chosen->second && mode.setpoint == *found) return found;
  std::vector<std::string> modes;
  for (const auto& mode : axis->modes)
    if (mode.setpoint == *found) modes.push_back(control_mode_name(mode.mode));
  problems_->add(
      name.at,
      "signal '" + name.value + "' is a setpoint of axis '" + axis->name + "', " +
          (chosen == plan_.control.end() ? "whose control mode is not chosen"
                                         : "which the plan runs in mode '" + control_mode_name(chosen->second) + "'"),
      "only in mode " + one_of(modes),
      "add \"control\": {\"" + axis->name + "\": \"" + modes.front() + "\"} to the plan");
  return {};
}

std::optional<Drive> Drafting::drive(const Name& name, const LimitKeys& keys) {
  const auto index = drivable(name);
  if (!index) return {};
  if (on_road_ && std::ranges::count(bench_.load->drives(), *index) > 0) {
    problems_->add(name.at, "signal '" + name.value + "', which the load model drives here",
                   "any other driven signal in the 'road' that begins in line " + std::to_string(road_at_.line),
                   "drive it before or after that");
    return {};
  }
  const auto within = limits(keys, *index);
  if (!within) return {};
  return Drive{*index, &bench_.signals[*index], now_[*index], *within};
}

std::optional<Limits> Drafting::limits(const LimitKeys& keys, SignalIndex signal) {
  auto limits = bench_limits(bench_.signals[signal]);
  bool good = true;
  const auto take = [&](const std::optional<Located<Quantity>>& given, int order, double& limit,
                        const std::string& whose) {
    if (!given) return;
    const auto v = derivative(*given, signal, order, limit, whose);
    good = good && v.has_value();
    if (v) limit = *v;
  };
  take(keys.slew, 1, limits.slew, "the bench's max_slew");
  take(keys.acceleration, 2, limits.acceleration, "");
  take(keys.jerk, 3, limits.jerk, "the bench's max_jerk");
  if (!good) return {};
  return limits;
}

std::optional<double> Drafting::reading(const Located<Quantity>& given, SignalIndex signal) {
  const auto& info = bench_.signals[signal].info;
  const auto v = given.value.in(Unit::known(info.unit));
  if (!v) {
    problems_->add(given.at, "found \"" + in_words(given.value.value, given.value.unit.text()) + "\"",
                   "a quantity in " + info.unit + ", the unit of '" + info.name + "'", v.error().context);
    return {};
  }
  return *v;
}

std::optional<double> Drafting::target(const Located<Quantity>& given, SignalIndex signal) {
  const auto v = reading(given, signal);
  const auto& info = bench_.signals[signal].info;
  if (!v || info.range_low >= info.range_high || (*v >= info.range_low && *v <= info.range_high)) return v;
  problems_->add(
      given.at, "found " + in_words(*v, info.unit) + " for '" + info.name + "'",
      "the bench's range, " + in_words(info.range_low, info.unit) + " to " + in_words(info.range_high, info.unit));
  return {};
}

std::optional<double> Drafting::distance(const Located<Quantity>& given, SignalIndex signal) {
  const auto& unit = bench_.signals[signal].info.unit;
  const auto convert = Conversion::between(given.value.unit, Unit::known(unit));
  const double v = convert ? given.value.value * convert->gain() : 0.0;
  if (convert && v > 0) return v;
  problems_->add(given.at, "found \"" + in_words(given.value.value, given.value.unit.text()) + "\"",
                 "a quantity in " + unit + " above 0", convert ? "" : convert.error().context);
  return {};
}

std::optional<double> Drafting::derivative(const Located<Quantity>& given, SignalIndex signal, int order, double most,
                                           const std::string& whose) {
  const auto& info = bench_.signals[signal].info;
  const auto unit = rate_unit(info.unit, order);
  const auto convert = Conversion::between(given.value.unit, Unit::known(unit));
  const auto found = "found \"" + in_words(given.value.value, given.value.unit.text()) + "\"";
  const double v = convert ? given.value.value * convert->gain() : 0.0;
  if (v > 0 && v <= most * slack) return v;
  if (v > 0)
    problems_->add(given.at, found, "at most " + in_words(most, unit) + ", " + whose + " for '" + info.name + "'");
  else
    problems_->add(given.at, found, "a quantity in " + unit + " above 0", convert ? "" : convert.error().context);
  return {};
}

std::optional<double> Drafting::rate(const Located<Quantity>& given, const Drive& drive) {
  return derivative(given, drive.signal, 1, drive.limits.slew, "the slew limit");
}

std::optional<Condition> Drafting::condition(const ConditionKeys& keys, const Where& at) {
  const auto index = signal(keys.signal);
  if (!index) return {};
  if (!keys.at_least && !keys.at_most) {
    problems_->add(at, "a condition without a bound", "'at_least', 'at_most' or both");
    return {};
  }
  constexpr double open = std::numeric_limits<double>::infinity();
  const auto low = keys.at_least ? reading(*keys.at_least, *index) : -open;
  const auto high = keys.at_most ? reading(*keys.at_most, *index) : open;
  if (!low || !high) return {};
  if (*low <= *high) return Condition{*index, *low, *high};
  problems_->add(keys.at_least->at, "'at_least' above 'at_most'", "a lower bound that is not above the upper one");
  return {};
}

bool Drafting::keeps(const Motion& motion, SignalIndex signal, const Limits& limits, const Where& at) {
  const auto& info = bench_.signals[signal].info;
  const auto e = extent(motion);
  const auto before = problems_->count();
  const double margin = 1e-9 * (info.range_high - info.range_low);
  if (info.range_low < info.range_high && (e.low < info.range_low - margin || e.high > info.range_high + margin))
    problems_->add(
        at, "'" + info.name + "' would go from " + in_words(e.low, info.unit) + " to " + in_words(e.high, info.unit),
        "the bench's range, " + in_words(info.range_low, info.unit) + " to " + in_words(info.range_high, info.unit));
  const std::array<double, 3> reached{e.rate, e.acceleration, e.jerk},
      most{limits.slew, limits.acceleration, limits.jerk};
  const std::array<std::string, 3> words{"rate", "acceleration", "jerk"}, jumps{"value", "rate", "acceleration"};
  for (std::size_t i = 0; i < 3; ++i) {
    if (reached[i] <= most[i] * slack) continue;
    const auto unit = rate_unit(info.unit, static_cast<int>(i) + 1);
    const bool jump = !std::isfinite(reached[i]);
    problems_->add(
        at,
        jump ? "the " + jumps[i] + " of '" + info.name + "' would jump"
             : "'" + info.name + "' would reach " + in_words(reached[i], unit),
        "a " + words[i] + " of at most " + in_words(most[i], unit),
        jump ? "let it change gradually: a sine does with 'fade_cycles', a ramp with 'jerk'" : "ask for less");
    break;  // the higher ones follow from it
  }
  return problems_->count() == before;
}

bool Drafting::enter_road(double grip, const Where& at) {
  const auto before = problems_->count();
  if (!bench_.load)
    problems_->add(at, "'road', and the bench has no load model", "a bench file with 'load'");
  else if (on_road_)
    problems_->add(at, "a 'road' in another one", "one at a time",
                   "change 'grip' in the one that begins in line " + std::to_string(road_at_.line));
  if (problems_->count() > before) return false;
  for (const auto signal : bench_.load->drives()) {
    const auto& info = bench_.signals[signal].info;
    if (!drivable({info.name, at})) continue;
    if (now_[signal] < 0.0 || now_[signal] > 0.0)
      problems_->add(at,
                     "'" + info.name + "' at " + in_words(now_[signal], info.unit) + " where the load model comes on",
                     in_words(0.0, info.unit), "bring it to 0 before");
  }
  on_road_ = true;
  grip_ = grip;
  road_at_ = at;
  return true;
}

void Drafting::leave_road() { on_road_ = false; }

std::optional<double> Drafting::grip() {
  if (on_road_) return grip_;
  problems_->add(at_, "a change of the road where the load model is not on", "inside a 'road'");
  return {};
}

std::optional<SignalIndex> Drafting::moved_since(const std::vector<double>& began) const {
  for (std::size_t s = 0; s < began.size(); ++s)
    if (std::abs(now_[s] - began[s]) > 1e-9 * std::max(1.0, std::abs(began[s]))) return static_cast<SignalIndex>(s);
  return {};
}

TimelineItem Drafting::add(const PlanStep& step, TimelineStep made) {
  made.name = step.name;
  made.id = ids_.try_emplace(step.name, static_cast<std::uint32_t>(ids_.size())).first->second;
  made.length = std::max(made.length, bench_.tick);
  made.implausible_meant = implausible_meant_;
  if (on_road_) made.load = LoadUse::on;
  steps_.push_back(std::move(made));
  TimelineItem item;
  item.step = steps_.size() - 1;
  return item;
}

std::optional<Movement> Drafting::move(const PlanStep& step) {
  const auto* kind = find_stimulus(step.what.kind);
  if (!step.complete || kind == nullptr || !kind->move) return forget_values(), std::nullopt;
  const auto before = problems_->count();
  at_ = step.what.at;
  auto movement = kind->move(step.what.value, *this);
  if (!movement) return forget_values(), std::nullopt;
  for (const auto& channel : movement->channels) {
    if (problems_->count() == before)
      keeps(channel.motion, channel.signal, bench_limits(bench_.signals[channel.signal]), step.what.at);
    check_trip(step, channel);
    now_[channel.signal] = channel.motion.end;
  }
  if (movement->grip) grip_ = movement->grip->end;
  return movement;
}

// While an interlock's grace time runs nothing brakes, so that way must be free.
void Drafting::check_trip(const PlanStep& step, const Channel& channel) {
  const auto travel = trip_travel(bench_, channel.signal, extent(channel.motion));
  if (!travel || !(travel->in_grace > travel->room)) return;  // not a number: where it is is not known
  const auto& unit = bench_.signals[channel.signal].info.unit;
  problems_->add(step.what.at,
                 "at " + in_words(travel->rate, rate_unit(unit)) + " the axis goes on for " +
                     in_words(travel->in_grace, unit) + " before interlock '" + travel->interlock + "' trips",
                 "the " + in_words(travel->room, unit) + " left to the end of the range",
                 "lower the rate, keep further from the end, or shorten the interlock's grace time");
}

std::vector<TimelineItem> Drafting::items_of(const PlanStep& step) {
  const bool around = std::exchange(implausible_meant_, implausible_meant_ || step.implausible_meant);
  auto items = items_within(step);
  implausible_meant_ = around;
  return items;
}

std::vector<TimelineItem> Drafting::items_within(const PlanStep& step) {
  const auto* kind = find_stimulus(step.what.kind);
  if (kind != nullptr && kind->items && step.what.value.has_value()) return kind->items(step, *this);
  auto movement = move(step);
  if (!movement) return {};
  TimelineStep made;
  made.length = rounded_up(movement->seconds);
  made.channels = std::move(movement->channels);
  made.injections = std::move(movement->injections);
  made.grip = std::move(movement->grip);
  made.pulses = std::move(movement->pulses);
  return {add(step, std::move(made))};
}

std::vector<TimelineItem> Drafting::program(const std::vector<PlanStep>& steps) {
  std::vector<TimelineItem> program;
  for (const auto& step : steps)
    for (auto& item : items_of(step)) program.push_back(std::move(item));
  return program;
}

std::vector<TimelineItem> Drafting::program_again(const std::vector<PlanStep>& steps) {
  Problems unheard;
  auto* const heard = std::exchange(problems_, &unheard);
  auto again = program(steps);
  problems_ = heard;
  // What was wrong in the first pass is told; only a fault that needs the second one is news.
  if (heard->none())
    for (const auto& p : unheard.sorted()) heard->add(p.at, p.found, p.allowed, p.advice);
  return again;
}

// After a step that could not be worked out nobody knows where the signals are; NaN keeps checks from guessing.
void Drafting::forget_values() { std::fill(now_.begin(), now_.end(), std::numeric_limits<double>::quiet_NaN()); }

}  // namespace trackrod
