#include "harness/score/rate_correction.hpp"

#include <algorithm>
#include <cmath>

#include "harness/base/units.hpp"

namespace trackrod {
namespace {

constexpr double distinct_rates = 1.5;  // fastest over slowest, at least, for a line over the rate
constexpr double least_chance = 0.01;   // a line that fits worse than this is refused

Finding corrected(const LoopContext& context, const std::string& name, const LineFit& line,
                  const std::vector<const RateGroup*>& groups, bool along_input) {
  const bool is_lag = name == "lag";
  const double scale = name == "width_corrected_percent" ? 100.0 / context.set.out_span : is_lag ? 1e3 : 1.0;
  const auto& share = is_lag ? line.slope_share : line.intercept_share;
  std::vector<Contribution> budget;
  for (std::size_t i = 0; i < groups.size(); ++i) {
    const auto& gap = groups[i]->centre;
    const double by = scale * share[i] / (along_input ? gap.slope : 1.0);
    auto lines = gap.rising.budget;
    lines.insert(lines.end(), gap.falling.budget.begin(), gap.falling.budget.end());
    lines.push_back(rectangular("resolution", gap.half_width));
    for (auto& l : scaled(lines, by)) {
      l.name += " at " + with_unit(groups[i]->rate, context.input.unit + "/s");
      budget.push_back(l);
    }
  }
  const double value = scale * (is_lag ? line.slope : line.intercept);
  // Rates that depart from the line by more than their own uncertainty widen it (the excess of chi square).
  const double excess = line.chi_square / static_cast<double>(groups.size() - 2) - 1.0;
  const double own = scale * (is_lag ? line.slope_unit : line.intercept_unit);
  if (excess > 0.0) budget.push_back(type_b("departure from the line", own * std::sqrt(excess)));
  // A shift between the two signals' times is common to all rates: it moves the lag and leaves the width alone.
  if (is_lag)
    for (const auto& l : context.time_shift()) budget.push_back(l);
  else
    budget.push_back(
        type_b("calibration of '" + (along_input ? context.input : context.output).name + "'",
               (along_input ? context.input : context.output).calibration.gain_uncertainty * std::abs(value)));
  auto frame = context.frame;
  frame.conditions.emplace_back("rates", std::to_string(groups.size()) + ", from " +
                                             with_unit(groups.front()->rate, context.input.unit + "/s") + " to " +
                                             with_unit(groups.back()->rate, context.input.unit + "/s"));
  frame.conditions.emplace_back("position", with_unit(groups.front()->centre.position, context.input.unit));
  return frame.measured(name, context.unit(name), value, budget);
}

// Why there is no line through these widths; empty: there is one.
std::string why_too_few(const SweepSet& set, const std::vector<const RateGroup*>& groups) {
  const auto left_out = set.left_out > 0 ? " (left out: " + set.trouble + ")" : "";
  if (groups.size() < 3 && set.groups.size() >= 3)
    return "only at " + std::to_string(groups.size()) + " of " + std::to_string(set.groups.size()) +
           " rates a branch in each direction passes the centre long enough after its reversal for this lag; sweep "
           "wider or slower" +
           left_out;
  if (groups.size() < 3)
    return "needs sweeps at three rates or more; found " + std::to_string(groups.size()) + left_out +
           ": the width at one rate holds lag and hysteresis together";
  if (groups.back()->rate < distinct_rates * groups.front()->rate)
    return "the rates are too alike: the fastest is " + shown(groups.back()->rate / groups.front()->rate, 3) +
           " times the slowest, 1.5 is needed";
  return "";
}

// Greatest distance of a width from the line.
double departure_of(const LineFit& line, const std::vector<const RateGroup*>& groups) {
  double departure = 0.0;
  for (const auto* group : groups) {
    const auto& gap = group->centre;
    const double on_line = line.intercept + line.slope * 2.0 * gap.rate * std::abs(gap.slope);
    departure = std::max(departure, std::abs(gap.width - on_line));
  }
  return departure;
}

}  // namespace

std::vector<const RateGroup*> known_groups(const SweepSet& set) {
  std::vector<const RateGroup*> groups;
  for (const auto& group : set.groups)
    if (group.centre.known) groups.push_back(&group);
  return groups;
}

LineFit line_over_rate(const SweepSet& set, const std::vector<const RateGroup*>& groups, bool along_input) {
  std::vector<double> rate, width, u;
  for (const auto* group : groups) {
    const auto& gap = group->centre;
    const double scale = along_input ? 1.0 / std::abs(gap.slope) : 1.0;
    rate.push_back(2.0 * gap.rate * std::abs(gap.slope) * scale);
    width.push_back(gap.width * scale);
    u.push_back(std::max(gap.u, 1e-9 * set.out_span) * scale);
  }
  return fit_line(rate, width, u);
}

RateCorrection correct_for_rate(const LoopContext& context, const TimingQuality& timing) {
  RateCorrection out;
  const auto refused = [&](const std::string& reason) {
    for (const auto* name : {"width_corrected", "width_corrected_input", "width_corrected_percent", "lag"})
      out.findings.push_back(context.frame.missing(name, context.unit(name), reason));
    return out;
  };
  const auto groups = known_groups(context.set);
  if (const auto reason = why_too_few(context.set, groups); !reason.empty()) return refused(reason);
  out.line = line_over_rate(context.set, groups, false);
  // No play, friction or dead band makes a gap of less than nothing.
  if (const double least = 3.0 * out.line->intercept_unit + 1e-3 * context.set.out_span; out.line->intercept < -least) {
    out.line.reset();
    return refused(
        "the loop turns backwards, even without what lag explains: the output is ahead of its input; are the "
        "two in each other's place?");
  }
  const double chance = chance_of(out.line->chi_square, static_cast<double>(groups.size()) - 2.0);
  const double departure = departure_of(*out.line, groups);
  // Departures below a thousandth of the span are no ground for a refusal, however little the noise.
  if (chance < least_chance && departure > 1e-3 * context.set.out_span)
    return refused("the width does not grow in a straight line with the rate (departure " +
                   with_unit(departure, context.output.unit) +
                   "): lag alone does not explain it; only the widths at each rate stand");
  const auto along = line_over_rate(context.set, groups, true);
  out.findings = {corrected(context, "width_corrected", *out.line, groups, false),
                  corrected(context, "width_corrected_input", along, groups, true),
                  corrected(context, "width_corrected_percent", *out.line, groups, false),
                  corrected(context, "lag", *out.line, groups, false)};
  refuse_below_resolution(out.findings.back(), timing, 0.0);
  return out;
}

}  // namespace trackrod
