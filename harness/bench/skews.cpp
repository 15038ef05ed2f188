// Skews: how much later one sensor shows a motion than another, as it was measured.

#include <algorithm>
#include <cmath>

#include "harness/bench/draft.hpp"

namespace trackrod {
namespace {

// The entry that counts for each signal: the newest; of several from one day the one that stands first.
std::vector<const written::Skew*> newest(const std::vector<written::Contents>& parts) {
  std::vector<const written::Skew*> all;
  for (const auto& contents : parts)
    for (const auto& part : contents.skews) {
      if (!part.good) continue;
      const auto same = [&](const written::Skew* s) { return s->signal.value == part.value.signal.value; };
      const auto known = std::find_if(all.begin(), all.end(), same);
      if (known == all.end())
        all.push_back(&part.value);
      else if ((*known)->date < part.value.date)
        *known = &part.value;
    }
  return all;
}

}  // namespace

void resolve_skews(const std::vector<written::Contents>& parts, Draft& draft) {
  const auto all = newest(parts);
  for (const auto* s : all) {
    const auto late = draft.find(s->signal, Direction::read, "'signal'");
    const auto against = draft.find(s->against, Direction::read, "'against'");
    if (!late || !against) continue;
    if (*late == *against) {
      draft.problems.add(s->against.at, "'" + s->against.value + "' against itself", "another signal");
      continue;
    }
    const bool chained = std::any_of(
        all.begin(), all.end(), [&](const written::Skew* other) { return other->signal.value == s->against.value; });
    if (chained) {
      draft.problems.add(s->against.at, "'" + s->against.value + "' has a skew itself",
                         "a signal whose delay is stated and not measured against a third one",
                         "measure both against the same signal");
      continue;
    }
    if (!s->due.value.empty() && s->due.value <= s->date)
      draft.problems.add(s->due.at, "due on " + s->due.value + ", measured on " + s->date,
                         "a due date after the date of the measurement", "are the two exchanged?");
    auto& info = draft.bench.signals[*late].info;
    const auto& from = draft.info(*against);
    info.skew = {s->against.value, s->value, s->u, s->date, s->due.value, s->used};
    info.delay = from.delay + s->value;
    info.delay_uncertainty = from_seconds(std::hypot(seconds(from.delay_uncertainty), seconds(s->u)));
  }
}

}  // namespace trackrod
