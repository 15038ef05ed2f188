#include "harness/score/ratio_map.hpp"

#include <cmath>

#include "harness/score/findings.hpp"
#include "harness/score/line_fit.hpp"

namespace trackrod {
namespace {

struct Noted {
  double value{0.0}, noise{0.0};
};

// Standard uncertainty of the mean of both directions; of the width, which is their difference, it is twice that.
double u_of_mean(const LoopGap& knot) { return 0.5 * knot.u; }

// How far the input goes on during the lag, in its unit, with a standard uncertainty. The gap between the branches is
// that of play and friction, alike everywhere, and twice this times the slope: a straight line over the slopes of the
// knots tells the two apart where the ratio varies enough. Otherwise it lies between nothing and half the gap along the
// input.
Noted lag_of(const std::vector<LoopGap>& knots, const std::vector<double>& slopes) {
  std::vector<double> width, noise, steepness;
  double half_gap = 0.0;
  for (std::size_t k = 1; k + 1 < knots.size(); ++k) {
    width.push_back(knots[k].width), noise.push_back(std::max(knots[k].u, 1e-12));
    steepness.push_back(std::abs(slopes[k]));
    half_gap += 0.5 * knots[k].width / steepness.back() / static_cast<double>(knots.size() - 2);
  }
  if (!(half_gap > 0.0)) return {};
  const auto line = fit_line(steepness, width, noise);
  const double lag = 0.5 * line.slope, u = 0.5 * line.slope_unit * std::max(1.0, line.residual_deviation);
  const double unknown = half_gap / std::sqrt(12.0);
  if (std::isfinite(u) && u < unknown) return {std::clamp(lag, 0.0, half_gap), u};
  return {0.5 * half_gap, unknown};
}

// The output answers to where the input was a lag ago: on the way up it is read that far below the knot, on the way
// down that far above. Where the ratio bends, the mean of both lies off the curve by y'' lag^2 / 2 (Taylor's series to
// the second order).
void take_lag_out(RatioMap& map) {
  auto& knots = map.knots;
  const std::size_t n = knots.size();
  if (n < 5) return;
  const double step = knots[1].position - knots[0].position;
  std::vector<double> slope(n), bend(n);
  for (std::size_t k = 1; k + 1 < n; ++k) {
    slope[k] = (knots[k + 1].mean - knots[k - 1].mean) / (2.0 * step);
    bend[k] = (knots[k + 1].mean - 2.0 * knots[k].mean + knots[k - 1].mean) / (step * step);
    if (slope[k] == 0.0) return;
  }
  bend[0] = 2.0 * bend[1] - bend[2];
  bend[n - 1] = 2.0 * bend[n - 2] - bend[n - 3];
  const auto lag = lag_of(knots, slope);
  for (std::size_t k = 0; k < n; ++k) {
    knots[k].mean -= 0.5 * bend[k] * lag.value * lag.value;
    map.lag_doubts.push_back(bend[k] * lag.value * lag.noise);
  }
}

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
  if (!lag_doubts.empty())
    lines.push_back(type_b("lag where the ratio bends", by * std::abs(lag_doubts[last] - lag_doubts[first])));
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
  take_lag_out(map);
  if (!map.between(0, map.stretches()).moved)
    map.trouble = "no motion: '" + output.name + "' changed by " +
                  with_unit(map.knots.back().mean - map.knots.front().mean, output.unit) +
                  " over the map, which its noise can make";
  return map;
}

}  // namespace trackrod
