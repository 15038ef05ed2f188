#include "harness/score/ratio_map.hpp"

#include <cmath>

#include "harness/score/findings.hpp"

namespace trackrod {
namespace {

// Standard uncertainty of the mean of both directions; of the width, which is their difference, it is twice that.
double u_of_mean(const LoopGap& knot) { return 0.5 * knot.u; }

}  // namespace

RatioMap::Between RatioMap::between(std::size_t first, std::size_t last) const {
  const auto &a = knots[first], &b = knots[last];
  const double change = b.mean - a.mean, whole = knots.back().mean - knots.front().mean;
  const bool moved = change * whole > 0.0 && std::abs(change) > 3.0 * std::hypot(u_of_mean(a), u_of_mean(b));
  return {moved ? (b.position - a.position) / change : 0.0, moved};
}

std::vector<Contribution> RatioMap::budget(std::size_t first, std::size_t last, const SignalInfo& input,
                                           const SignalInfo& output) const {
  const double ratio = between(first, last).ratio;
  const double travel = knots[last].position - knots[first].position, change = travel / ratio;
  const double by = std::abs(ratio / change);
  std::vector<Contribution> lines;
  for (const auto* knot : {&knots[first], &knots[last]}) {
    const auto where = " at " + with_unit(knot->position, input.unit);
    for (const auto* side : {&knot->rising, &knot->falling})
      for (auto line : side->budget) {
        line.name += where + (side == &knot->rising ? ", rising" : ", falling");
        line.standard_uncertainty *= 0.5 * by;
        lines.push_back(std::move(line));
      }
    lines.push_back(rectangular("resolution" + where, 0.5 * by * knot->half_width));
  }
  for (auto& line : calibration_budget(input, travel, ratio / travel)) lines.push_back(std::move(line));
  for (auto& line : calibration_budget(output, change, ratio / change)) lines.push_back(std::move(line));
  return lines;
}

RatioMap read_ratio_map(const SweepSet& set, const std::vector<double>& positions, double settle,
                        const SignalInfo& input, const SignalInfo& output) {
  RatioMap map;
  if (set.groups.empty()) {
    map.trouble = set.trouble.empty() ? "the input does not sweep to and fro in this step" : set.trouble;
    return map;
  }
  const auto& slowest = set.groups.front();
  map.rate = slowest.rate;
  // Windows of neighbours do not meet, so that no sample counts in two readings.
  const double window = 0.25 * (positions[1] - positions[0]);
  const ReadingRule rule{window, settle, input.resolution, output.resolution};
  for (const double position : positions) {
    auto knot = read_gap(slowest, position, rule);
    if (!knot.known) {
      map.trouble = "no sweep in each direction passes " + with_unit(position, input.unit) +
                    " long enough after its reversal; sweep wider or slower, or set a smaller \"reach\"";
      return map;
    }
    map.knots.push_back(std::move(knot));
  }
  if (!map.between(0, map.stretches()).moved)
    map.trouble = "no motion: '" + output.name + "' changed by " +
                  with_unit(map.knots.back().mean - map.knots.front().mean, output.unit) +
                  " over the map, which its noise can make";
  return map;
}

}  // namespace trackrod
