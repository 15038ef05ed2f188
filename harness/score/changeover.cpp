#include "harness/score/changeover.hpp"

#include <algorithm>

#include "harness/score/series.hpp"

namespace trackrod {
namespace {

constexpr double highest_voltage = 1e9;  // no upper bound
constexpr double before = 0.05;          // s, of the voltage at the connector, shown before the feed drops

}  // namespace

Changeovers changeovers_of(const ScoreInput& input, const Span& span, const DropOutRule& rule) {
  Changeovers out;
  const FaultRule low{rule.below, highest_voltage, Duration{0}};
  const auto feed = faults_in(input, "feed", span, low), joint = faults_in(input, "input", span, low);
  if (feed.found.empty()) return {{}, 0.0, "the feed did not drop: " + feed.trouble};
  const auto volts = read_series(input.capture, input.signal("input"), span.from, span.to, span.from);
  if (!volts.trouble.empty()) return {{}, 0.0, volts.trouble};
  const auto points = input.capture.points(input.signal("output"), span.from, span.to);
  const auto& name = input.capture.signals()[input.signal("output")].name;
  if (!points || points->empty()) return {{}, 0.0, "'" + name + "' has no samples"};
  const auto changes = works_changes(*points, rule, span.from);
  out.noise = volts.noise;

  for (const auto& drop : feed.found) {
    if (!drop.end) {
      out.trouble = "the feed does not come back before the step ends";
      continue;
    }
    const double from = drop.begin.earliest(), to = drop.end->latest();
    Changeover c;
    bool worked = false;
    for (const auto& change : changes) {
      if (change.when.latest() <= from) worked = change.works;
      if (change.when.latest() > from && change.when.earliest() < to && !change.works) c.lost = true;
    }
    if (!worked) {
      out.trouble = "the unit did not work before the feed dropped";
      continue;
    }
    // A dip between two samples is not seen.
    c.below.high = joint.longest_gap;
    for (const auto& dip : joint.found) {
      if (dip.begin.latest() < from || dip.begin.earliest() > to) continue;
      const double end_low = dip.end ? dip.end->earliest() : to, end_high = dip.end ? dip.end->latest() : to;
      c.below.low += std::max(0.0, end_low - dip.begin.latest());
      c.below.high += end_high - dip.begin.earliest();
    }
    const std::size_t first = volts.from(from - before), last = volts.from(to);
    if (first >= last) {
      out.trouble = "no samples at the connector while the feed was away";
      continue;
    }
    c.highest = *std::max_element(volts.y.begin() + static_cast<std::ptrdiff_t>(first),
                                  volts.y.begin() + static_cast<std::ptrdiff_t>(last));
    for (std::size_t i = first; i < last; ++i) {
      c.depth.t.push_back(volts.t[i] - drop.begin.t);
      c.depth.v.push_back(c.highest - volts.y[i]);
    }
    out.found.push_back(std::move(c));
  }
  return out;
}

}  // namespace trackrod
