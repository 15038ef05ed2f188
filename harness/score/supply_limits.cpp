#include "harness/score/supply_limits.hpp"

#include <algorithm>

#include "harness/score/series.hpp"
#include "harness/score/threshold.hpp"

namespace trackrod {
namespace {

constexpr double ms = 1e3;
constexpr double alike = 0.2;  // share of the longest drop-out by which those alike in length differ at the most

// s
double length_of(const DropOut& d) { return d.end.t - d.begin.t; }
double open_of(const DropOut& d) { return d.end.half_width + d.begin.half_width; }

struct Names {
  std::string finding, hardest, easiest;  // "ridden_through", "longest", "shortest"
};

// `lines`: what is not known of every value alike.
Finding limit_of(const Tries& tries, const Names& names, Frame frame, std::vector<Contribution> lines) {
  const auto by_hardness = [&](const Try& a, const Try& b) {
    return tries.harder == Harder::greater ? a.value < b.value : a.value > b.value;
  };
  const auto [easiest, hardest] = std::minmax_element(tries.of.begin(), tries.of.end(), by_hardness);
  const auto survived = std::count_if(tries.of.begin(), tries.of.end(), [](const Try& t) { return t.survived; });
  if (survived == 0)
    return frame.missing(names.finding, tries.unit,
                         "none was survived; the " + names.easiest + ": " + with_unit(easiest->value, tries.unit));
  if (survived == static_cast<std::ptrdiff_t>(tries.of.size())) {
    frame.conditions.emplace_back(names.hardest + "_survived", with_unit(hardest->value, tries.unit));
    frame.conditions.emplace_back("all", "every drop-out was survived: the limit lies beyond");
    return frame.measured(names.finding, tries.unit, hardest->value, std::move(lines));
  }
  const auto found = threshold_of(tries);
  if (!found.value) return frame.missing(names.finding, tries.unit, found.trouble);
  frame.conditions.emplace_back(names.hardest + "_survived", with_unit(found.survived, tries.unit));
  frame.conditions.emplace_back(names.easiest + "_lost", with_unit(found.lost, tries.unit));
  if (found.near > 0) frame.conditions.emplace_back("tries_near", some_of(found.near, tries.of.size()));
  lines.insert(lines.begin(), found.line);
  return frame.measured(names.finding, tries.unit, *found.value, std::move(lines));
}

}  // namespace

Finding ridden_through(const std::vector<DropOut>& drops, const Frame& frame) {
  Tries tries{{}, Harder::greater, 0.0, "length", "ms"};
  double open = 0.0;
  for (const auto& d : drops) {
    tries.of.push_back({ms * length_of(d), !d.lost});
    open = std::max(open, ms * open_of(d));
  }
  tries.apart = 2.0 * open;
  return limit_of(tries, {"ridden_through", "longest", "shortest"}, frame,
                  {rectangular("samples of the voltage", open)});
}

Finding lowest_survived(const std::vector<DropOut>& drops, const SignalInfo& volts, const Frame& frame) {
  const auto shorter = [](const DropOut& a, const DropOut& b) { return length_of(a) < length_of(b); };
  const auto [shortest, longest] = std::minmax_element(drops.begin(), drops.end(), shorter);
  if (length_of(*longest) - length_of(*shortest) > alike * length_of(*longest) + open_of(*longest) + open_of(*shortest))
    return frame.missing("lowest_survived", volts.unit,
                         "drop-outs of " + with_unit(ms * length_of(*shortest), "ms") + " and of " +
                             with_unit(ms * length_of(*longest), "ms") + ": wants lengths that differ by " +
                             with_unit(100.0 * alike, "%") + " at the most, so that depth alone decides");

  Tries tries{{}, Harder::smaller, 0.0, "depth", volts.unit};
  std::vector<double> noise, between;
  for (const auto& d : drops) {
    tries.of.push_back({d.lowest + d.lowest_noise, !d.lost});
    noise.push_back(d.lowest_noise);
    between.push_back(d.lowest_between);
    tries.apart = std::max(tries.apart, 3.0 * d.noise);
  }
  const auto [deepest, highest] = std::minmax_element(tries.of.begin(), tries.of.end(),
                                                      [](const Try& a, const Try& b) { return a.value < b.value; });
  const bool both = std::any_of(drops.begin(), drops.end(), [&](const DropOut& d) { return d.lost != drops[0].lost; });
  if (both && highest->value - deepest->value <= tries.apart)
    return frame.missing("lowest_survived", volts.unit,
                         "some were survived and some were not, all down to " + with_unit(deepest->value, volts.unit) +
                             ": try deeper and less deep ones too");
  return limit_of(tries, {"lowest_survived", "lowest", "highest"}, frame,
                  {type_b("noise chooses the lowest", 0.5 * median_of(noise)),
                   rectangular("lower between samples", median_of(between)),
                   type_b("calibration of '" + volts.name + "'", volts.calibration.standard_uncertainty),
                   rectangular("resolution", 0.5 * volts.resolution)});
}

}  // namespace trackrod
