#include "harness/score/degraded_performance.hpp"

#include <algorithm>
#include <cmath>

#include "harness/score/budget.hpp"

namespace trackrod {
namespace {

constexpr double ms = 1e3;

}  // namespace

Finding departure_of(const std::vector<FaultCase>& cases, const DegradedSettings& settings, const SignalInfo& output,
                     const Frame& frame, const MissingFinding& missing) {
  const auto without =
      std::find_if(cases.begin(), cases.end(), [](const FaultCase& c) { return !c.before.trouble.empty(); });
  if (without != cases.end()) return missing("departure", without->before.trouble);
  if (!settings.safe.empty() || settings.tolerance <= 0.0)
    return missing("departure", "needs \"tolerance\", without \"safe\", in the plan");
  std::vector<DepartureCourse> courses;
  double noise = 0.0;
  for (const auto& c : cases) {
    if (c.effect.t.empty()) return missing("departure", c.effect.trouble);
    if (c.effect.worst_hole > 5.0 * c.output_interval)
      return missing("departure", "samples of '" + output.name + "' are missing for " +
                                      with_unit(ms * c.effect.worst_hole, "ms") + " before it was in hand");
    const double margin = 10.0 * c.output_interval, onset = c.fault.begin.t;
    const double last = c.effect.in_hand ? c.effect.in_hand->latest() : c.end();
    auto& course = courses.emplace_back();
    for (std::size_t i = 0; i < c.effect.t.size(); ++i) {
      if (c.effect.t[i] < onset - margin || c.effect.t[i] > last + margin) continue;
      course.t.push_back(c.effect.t[i] - onset);
      course.v.push_back(c.effect.v[i]);
    }
    noise = std::max(noise, c.output_noise);
  }
  const auto found = greatest_departure(courses, noise);
  if (!found) return missing("departure", "too few samples of '" + output.name + "' before it was in hand");
  const auto& c = cases[found->fault];
  std::vector<Contribution> budget{
      type_b("noise", found->noise), type_b("choice of the greatest", 0.5 * std::abs(found->bias)),
      type_b("what is expected of the output",
             std::sqrt(std::max(0.0, c.before.residual * c.before.residual - noise * noise))),
      rectangular("resolution", 0.5 * output.resolution)};
  for (auto& line : calibration_budget(output, found->value)) budget.push_back(std::move(line));
  auto told = frame;
  told.conditions.emplace_back("fault", std::to_string(found->fault + 1));
  told.conditions.emplace_back("after_onset", with_unit(ms * found->when, "ms"));
  const auto beyond = combine(0.0, budget).interval;
  budget.push_back(rectangular("smoothing", found->smoothing));
  auto f = told.measured("departure", output.unit, found->value, std::move(budget));
  // How far a corner stands out need not be even between the bounds: where a gap cuts it off it does not at all.
  if (f.interval && found->corner)
    f.interval = {found->value - found->smoothing + beyond[0], found->value + found->smoothing + beyond[1]};
  if (f.interval) (*f.interval)[0] = std::max(0.0, (*f.interval)[0]);
  return f;
}

std::vector<Finding> performance_of(const std::vector<FaultCase>& cases, const Frame& frame,
                                    const MissingFinding& missing) {
  std::vector<Finding> findings;
  struct Compared {
    const char* name;
    bool after, lag;
  };
  for (const auto& [name, after, lag] : {Compared{"gain_left", false, false}, Compared{"lag_added", false, true},
                                         Compared{"gain_returned", true, false}}) {
    std::vector<double> values, noise;
    std::string why;
    for (const auto& c : cases) {
      const auto& now = after ? c.after : c.during;
      if (!c.before.trouble.empty() || !now.trouble.empty()) {
        why = c.before.trouble.empty() ? now.trouble : c.before.trouble;
        continue;
      }
      if (c.before.held || now.held || std::abs(c.before.gain) < 10.0 * c.before.gain_noise) {
        why = "the reference, or the output with it, does not move enough before the fault and in the stretch compared";
        continue;
      }
      const double share = now.gain / c.before.gain;
      if (lag && std::abs(now.gain) < 10.0 * now.gain_noise) {
        why = "the output hardly follows in the fault, so that it has no lag";
        continue;
      }
      const auto in_percent = [&](double of_now, double of_before) {
        return 100.0 * std::hypot(of_now, share * of_before) / std::abs(c.before.gain);
      };
      values.push_back(lag ? ms * (now.lag - c.before.lag) : 100.0 * share);
      noise.push_back(lag ? ms * std::hypot(now.lag_noise, c.before.lag_noise)
                          : in_percent(now.gain_noise, c.before.gain_noise));
    }
    if (values.empty()) {
      findings.push_back(missing(name, why));
      continue;
    }
    const auto found = repeated(values, noise);
    auto told = frame;
    const std::string unit = lag ? "ms" : "%";
    told.conditions.emplace_back("mean_of", some_of(found.count, cases.size()));
    told.conditions.emplace_back(lag ? "greatest" : "least", with_unit(lag ? found.greatest : found.least, unit));
    findings.push_back(told.measured(name, unit, found.mean, found.budget));
  }
  return findings;
}

}  // namespace trackrod
