#include <algorithm>
#include <cmath>

#include "harness/plan/drafting.hpp"
#include "harness/plan/timeline.hpp"

namespace trackrod {
namespace {

constexpr double longest_run = 366.0 * 24 * 3600;  // s

constexpr double approach_time = 5;  // s, through the whole range of a signal

std::vector<double> starting_values(const Plan& plan, const Bench& bench) {
  auto values = armed_values(bench);
  for (const auto& [signal, value] : plan.start) values[signal] = value;
  return values;
}

struct Size {
  double seconds{0};
  double steps{0};
  std::size_t depth{1};
  bool endless{false};
};

Size size_of(const std::vector<TimelineItem>& items, const std::vector<TimelineStep>& steps);

Size size_of_repeat(const TimelineItem& item, const std::vector<TimelineStep>& steps) {
  const auto first = size_of(item.first, steps), again = size_of(item.again, steps), check = size_of(item.check, steps);
  const bool by_time = item.lasts > Duration{}, endless = item.count == without_end && !by_time;
  double passes = static_cast<double>(item.count - item.made_before);
  if (endless) passes = 1.0;
  // The last one begins no later than when the time is over, and is finished.
  const double share_of_check = item.check_every == 0 ? 0.0 : check.seconds / static_cast<double>(item.check_every);
  if (by_time) passes = 1.0 + std::ceil(seconds(item.lasts) / (again.seconds + share_of_check));
  const double checks = item.check_every == 0 ? 0.0 : std::floor(passes / static_cast<double>(item.check_every));
  return {first.seconds + (passes - 1.0) * again.seconds + checks * check.seconds,
          first.steps + (passes - 1.0) * again.steps + checks * check.steps,
          1 + std::max({first.depth, again.depth, check.depth}), endless};
}

Size size_of(const std::vector<TimelineItem>& items, const std::vector<TimelineStep>& steps) {
  Size whole;
  for (const auto& item : items) {
    if (item.count == 0) {
      whole.seconds += seconds(steps[item.step].length);
      whole.steps += 1;
      continue;
    }
    if (!item.levels.empty()) {
      Size longest;
      for (const auto& level : item.levels) {
        const auto size = size_of(level, steps);
        longest = {std::max(longest.seconds, size.seconds), size.steps, std::max(longest.depth, size.depth)};
      }
      whole.seconds += static_cast<double>(item.count) * longest.seconds;
      whole.steps += static_cast<double>(item.count) * longest.steps;
      whole.depth = std::max(whole.depth, longest.depth + 1);
      continue;
    }
    const auto repeat = size_of_repeat(item, steps);
    whole.seconds += repeat.seconds;
    whole.steps += repeat.steps;
    whole.depth = std::max(whole.depth, repeat.depth);
    whole.endless = whole.endless || repeat.endless;
  }
  return whole;
}

// Brings `values` to where the items leave each signal that they drive. A seek ends where it began.
void go_through(const std::vector<TimelineItem>& items, const std::vector<TimelineStep>& steps,
                std::vector<double>& values) {
  for (const auto& item : items) {
    if (item.count == 0)
      for (const auto& channel : steps[item.step].channels)
        values[channel.signal] = channel.motion.at(steps[item.step].length);
    else if (item.levels.empty())
      go_through(item.count == 1 ? item.first : item.again, steps, values);
  }
}

Result<void> take_made(TimelineItem& repeat, const MadeBefore& made) {
  const bool by_time = repeat.lasts > Duration{};
  if (made.passes >= repeat.count || (by_time && made.spent >= repeat.lasts))
    return fail(Fault::bad_input, "all passes of the repeat were made; go on with the step behind it");
  repeat.made_before = made.passes;
  if (by_time) repeat.lasts -= made.spent;
  return {};
}

}  // namespace

std::vector<double> armed_values(const Bench& bench) {
  std::vector<double> values;
  for (const auto& s : bench.signals) values.push_back(s.info.direction == Direction::drive ? s.rest : 0.0);
  for (const auto& action : bench.arming)
    if (action.kind == Action::Kind::set) values[action.signal] = action.value;
  return values;
}

double approach_rate(const SignalInfo& signal) noexcept {
  return std::min(signal.max_slew, (signal.range_high - signal.range_low) / approach_time);
}

std::unique_ptr<Timeline> Timeline::compile(const Plan& plan, const Bench& bench, Problems& problems) {
  const auto before = problems.count();
  auto timeline = std::make_unique<Timeline>();
  const auto values = starting_values(plan, bench);
  Drafting draft{plan, bench, problems, timeline->steps_, values};
  timeline->program_ = draft.program(plan.steps);
  timeline->settle_ = plan.settle;

  const auto size = size_of(timeline->program_, timeline->steps_);
  if (size.seconds > longest_run)
    problems.add({plan.file, 1, 1, "/steps"}, "the plan would take " + shown(size.seconds / 86400, 3) + " days",
                 "at most " + shown(longest_run / 86400) + " days", "lower 'times' or 'lasts' of its repeats");
  if (problems.count() > before) return nullptr;
  timeline->depth_ = size.depth;
  timeline->length_ = from_seconds(size.seconds);
  timeline->step_count_ = static_cast<std::uint64_t>(size.steps);
  timeline->endless_ = size.endless;

  std::vector<bool> moved(bench.signals.size());
  for (const auto& step : timeline->steps_)
    for (const auto& channel : step.channels) moved[channel.signal] = true;
  for (const auto& [signal, value] : plan.start) moved[signal] = true;
  for (std::size_t i = 0; i < moved.size(); ++i)
    if (moved[i]) timeline->start_.emplace_back(static_cast<SignalIndex>(i), values[i]);
  return timeline;
}

Result<void> Timeline::begin_with(const std::string& name, const MadeBefore& made) {
  const auto at =
      std::ranges::find_if(program_, [&](const auto& item) { return steps_inside({item}, steps_).contains(name); });
  if (at == program_.end()) {
    std::vector<std::string> names;
    for (const auto& step : steps_) names.push_back(step.name);
    return fail(Fault::bad_input,
                "found '" + name + "'; allowed: the name of a step of the plan; " + did_you_mean(name, names));
  }
  const bool on_road = first_step(*at, steps_).load != LoadUse::none;
  if (on_road && at != program_.begin() && first_step(*std::prev(at), steps_).load != LoadUse::none)
    return fail(Fault::bad_input, "found '" + name +
                                      "', in the middle of a road; allowed: the first step of the road, so that its "
                                      "load comes in as it did");
  std::size_t signals = 0;
  for (const auto& [signal, value] : start_) signals = std::max<std::size_t>(signals, signal + 1U);
  std::vector<double> values(signals);
  for (const auto& [signal, value] : start_) values[signal] = value;
  go_through({program_.begin(), at}, steps_, values);
  for (auto& [signal, value] : start_) value = values[signal];
  program_.erase(program_.begin(), at);
  if (made.passes > 0)
    if (auto taken = take_made(program_.front(), made); !taken) return taken;
  const auto size = size_of(program_, steps_);
  length_ = from_seconds(size.seconds);
  step_count_ = static_cast<std::uint64_t>(size.steps);
  endless_ = size.endless;
  return {};
}

}  // namespace trackrod
