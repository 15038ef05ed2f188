// parallel: several tracks of stimuli at once, as one step.

#include <algorithm>

#include "harness/plan/drafting.hpp"

namespace trackrod {
namespace {

struct Parallel {
  std::vector<std::vector<PlanStep>> tracks;
};

const Fields<Parallel>& parallel_fields() {
  static const auto fields =
      Fields<Parallel>{"a parallel",
                       "Runs several tracks of stimuli at once, as one step that lasts as long as the longest"}
          .need("tracks", &Parallel::tracks, list(element_list(), 2, 32),
                "lists of stimuli; each runs in its own order");
  return fields;
}

// Puts `later` behind what the motion does already, from `at` seconds on.
void continue_motion(Motion& motion, const Motion& later, double at) {
  stay(motion, at - motion.seconds());
  motion.end = later.end;
  for (const auto& piece : later.pieces) motion.append(piece, later.end);
}

// Whether a fault may be made beside those that other tracks make.
bool may_join(const Injection& injection, const std::vector<Injection>& others, const Where& at, Drafting& draft) {
  const auto end = [](const Injection& i) { return i.from + i.within + i.lasts; };
  const auto& fault = draft.bench().faults[injection.fault];
  for (const auto& other : others) {
    if (other.from >= end(injection) || injection.from >= end(other)) continue;
    const bool apart = std::ranges::binary_search(fault.not_with, other.fault);
    if (!apart && other.fault != injection.fault) continue;
    draft.problems().add(
        at, "'" + fault.name + "' while '" + draft.bench().faults[other.fault].name + "' may be there",
        apart ? "faults that the bench does not keep apart: by 'not_with', or because they are of one message"
              : "each fault once at a time");
    return false;
  }
  return true;
}

// One track, end to end. False after telling why not.
bool run_track(const std::vector<PlanStep>& track, Movement& whole, Drafting& draft) {
  double at = 0;
  Movement mine;
  for (const auto& step : track) {
    if (const auto* kind = find_stimulus(step.what.kind); kind != nullptr && !kind->move) {
      draft.problems().add(step.what.at, "'" + step.what.kind + "' in a track of 'parallel'", "stimuli only",
                           "put it before or after the parallel, or the parallel inside it");
      return false;
    }
    auto movement = draft.move(step);
    if (!movement) return false;
    for (auto& channel : movement->channels) {
      const auto same = [&](const Channel& c) { return c.signal == channel.signal; };
      if (std::any_of(whole.channels.begin(), whole.channels.end(), same)) {
        draft.problems().add(step.what.at,
                             "'" + draft.bench().signals[channel.signal].info.name + "' driven by two tracks",
                             "each signal in one track");
        return false;
      }
      auto mine_at = std::find_if(mine.channels.begin(), mine.channels.end(), same);
      if (mine_at == mine.channels.end())
        mine_at = mine.channels.insert(mine.channels.end(), {channel.signal, Motion{channel.motion.start}});
      continue_motion(mine_at->motion, channel.motion, at);
    }
    if (movement->grip) {
      if (whole.grip) {
        draft.problems().add(step.what.at, "the grip changed by two tracks", "'grip' in one track");
        return false;
      }
      if (!mine.grip) mine.grip = Motion{movement->grip->start};
      continue_motion(*mine.grip, *movement->grip, at);
    }
    for (auto pulse : movement->pulses) {
      pulse.from += from_seconds(at);
      whole.pulses.push_back(pulse);
    }
    for (auto injection : movement->injections) {
      injection.from += from_seconds(at);
      if (!may_join(injection, whole.injections, step.what.at, draft)) return false;
      whole.injections.push_back(injection);
    }
    at += movement->seconds;
  }
  whole.seconds = std::max(whole.seconds, at);
  for (auto& channel : mine.channels) whole.channels.push_back(std::move(channel));
  if (mine.grip) whole.grip = std::move(mine.grip);
  return true;
}

std::vector<TimelineItem> parallel_items(const PlanStep& step, Drafting& draft) {
  Movement whole;
  bool good = true;
  for (const auto& track : std::any_cast<const Parallel&>(step.what.value).tracks) {
    for (const auto& inner : track) {
      if (inner.implausible_meant) {
        draft.problems().add(inner.what.at, "'implausible' for a stimulus in a track",
                             "'implausible' for the parallel as a whole", "the signals are looked at together");
        good = false;
      }
      if (!inner.given_name.value.empty()) {
        draft.problems().add(inner.given_name.at, "a name for a stimulus in a track",
                             "a name for the parallel as a whole", "its time span is the one that scores can read");
        good = false;
      }
    }
    good = run_track(track, whole, draft) && good;
  }
  if (!good) return {};
  TimelineStep made;
  made.length = rounded_up(whole.seconds);
  made.channels = std::move(whole.channels);
  made.injections = std::move(whole.injections);
  made.grip = std::move(whole.grip);
  made.pulses = std::move(whole.pulses);
  return {draft.add(step, std::move(made))};
}

}  // namespace

StimulusKind parallel_element() { return {kind("parallel", parallel_fields), {}, parallel_items, {}}; }

}  // namespace trackrod
