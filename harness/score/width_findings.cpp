#include "harness/score/width_findings.hpp"

#include <algorithm>
#include <cmath>
#include <limits>
#include <random>

#include "harness/base/units.hpp"
#include "harness/score/line_fit.hpp"
#include "harness/score/scores.hpp"
#include "harness/score/scoring.hpp"

namespace trackrod {
namespace {

constexpr double least_lead = 1e-3;  // of the output's span: a loop narrower than that may well be none

// Of a width in the output's unit: its noise and scatter, resolution, the gain of the sensor, and what a shift between
// the two signals' times makes of the rate.
std::vector<Contribution> width_budget(const LoopContext& context, const LoopGap& gap) {
  std::vector<Contribution> budget;
  for (const auto& [side, name] : {std::pair{&gap.rising, "rising"}, std::pair{&gap.falling, "falling"}})
    for (auto line : side->budget) {
      line.name += std::string{", "} + name + " branch";
      budget.push_back(line);
    }
  budget.push_back(rectangular("resolution", gap.half_width));
  budget.push_back(type_b("calibration of '" + context.output.name + "'",
                          context.output.calibration.gain_uncertainty * std::abs(gap.width)));
  for (auto& line : scaled(context.time_shift(), 2e-3 * gap.rate * gap.slope)) budget.push_back(line);
  return budget;
}

// The greatest of several noisy widths lies too high; how much, is found by drawing their noise again about themselves.
Finding greatest_width(const LoopContext& context, const RateGroup& group, const Frame& frame) {
  const LoopGap* greatest = nullptr;
  for (const auto& gap : group.gaps)
    if (gap.known && (!greatest || gap.width > greatest->width)) greatest = &gap;
  if (!greatest)
    return frame.missing("width_greatest", context.output.unit, "no fixed position is passed in both directions");
  std::mt19937_64 random{1};
  std::normal_distribution<double> normal;
  constexpr int draws = 2000;
  double bias = 0.0;
  for (int d = 0; d < draws; ++d) {
    double highest = -1e300;
    for (const auto& gap : group.gaps)
      if (gap.known) highest = std::max(highest, gap.width + gap.u * normal(random));
    bias += (highest - greatest->width) / draws;
  }
  auto told = frame;
  told.conditions.emplace_back("position", with_unit(greatest->position, context.input.unit));
  auto budget = width_budget(context, *greatest);
  budget.push_back(type_b("choice of the greatest", 0.5 * bias));
  return told.measured("width_greatest", context.output.unit, greatest->width - bias, budget);
}

// Repeatability and linearity.
void add_shape(const LoopContext& context, const RateGroup& group, const Frame& frame, std::vector<Finding>& findings) {
  double range = 0.0, noise = 0.0, mean_noise = 0.0, half = 0.0;
  std::size_t readings = 1000;
  std::vector<double> x, y;
  for (const auto& gap : group.gaps) {
    if (!gap.known) continue;
    range = std::max(range, gap.range);
    readings = std::min(readings, std::max(gap.rising.count, gap.falling.count));
    noise = std::max(noise,
                     gap.rising.budget.front().standard_uncertainty * std::sqrt(static_cast<double>(gap.rising.count)));
    mean_noise = std::max(mean_noise, 0.5 * gap.u);
    half = std::max(half, gap.half_width);
    x.push_back(gap.position);
    y.push_back(gap.mean);
  }
  const double percent = 100.0 / context.set.out_span;
  if (x.empty() || readings < 3)
    findings.push_back(
        frame.missing("repeatability", "%", "needs three readings or more in one direction at every position"));
  else
    findings.push_back(
        frame.measured("repeatability", "%", percent * range,
                       {type_a("noise", percent * std::sqrt(2.0) * noise, std::numeric_limits<double>::infinity()),
                        rectangular("resolution", percent * half)}));
  if (x.size() < 3)
    findings.push_back(
        frame.missing("linearity", "%", "needs three positions or more that are passed in both directions"));
  else
    findings.push_back(
        frame.measured("linearity", "%", percent * independent_linearity(x, y),
                       {type_a("noise and scatter", percent * mean_noise, std::numeric_limits<double>::infinity()),
                        type_b("calibration of '" + context.input.name + "'",
                               percent * context.input.calibration.standard_uncertainty * std::abs(group.centre.slope)),
                        type_b("calibration of '" + context.output.name + "'",
                               percent * context.output.calibration.standard_uncertainty)}));
}

}  // namespace

std::string LoopContext::unit(const std::string& name) const {
  for (const auto& kind : hysteresis_score().entry.findings)
    if (kind.name == name) return finding_unit(kind.unit, input.unit, output.unit);
  return "1";
}

std::vector<Contribution> LoopContext::time_shift() const {
  return time_shift_budget(input, output, set.sweeps.front().in_half_width, set.sweeps.front().out_half_width);
}

std::vector<Contribution> scaled(std::vector<Contribution> budget, double by) {
  for (auto& line : budget) line.standard_uncertainty *= std::abs(by);
  return budget;
}

std::vector<Finding> width_findings(const LoopContext& context, const RateGroup& group) {
  std::vector<Finding> findings;
  auto frame = context.frame;
  frame.conditions.emplace_back("rate", with_unit(group.rate, context.input.unit + "/s"));
  const auto& gap = group.centre;
  std::string reason;
  if (!gap.known)
    reason =
        "no branch in each direction passes the centre long enough after its reversal; sweep wider, or set a shorter "
        "\"settle\"";
  else if (gap.width < -std::max(3.0 * gap.u, least_lead * context.set.out_span))
    reason = "the loop turns backwards: the output is ahead of its input, by " +
             with_unit(-gap.width, context.output.unit) + "; are the two in each other's place?";
  if (!reason.empty()) {
    for (const auto* name : {"width_apparent", "width_apparent_input", "width_apparent_percent", "width_greatest",
                             "repeatability", "linearity"})
      findings.push_back(frame.missing(name, context.unit(name), reason));
    return findings;
  }
  auto central = frame;
  central.conditions.emplace_back("position", with_unit(gap.position, context.input.unit));
  central.conditions.emplace_back(
      "branches", std::to_string(gap.rising.count) + " rising, " + std::to_string(gap.falling.count) + " falling");
  const auto budget = width_budget(context, gap);
  findings.push_back(central.measured("width_apparent", context.output.unit, gap.width, budget));
  findings.push_back(central.measured("width_apparent_input", context.input.unit, gap.width / std::abs(gap.slope),
                                      scaled(budget, 1.0 / gap.slope)));
  findings.push_back(central.measured("width_apparent_percent", "%", 100.0 * gap.width / context.set.out_span,
                                      scaled(budget, 100.0 / context.set.out_span)));
  findings.push_back(greatest_width(context, group, frame));
  add_shape(context, group, frame, findings);
  return findings;
}

}  // namespace trackrod
