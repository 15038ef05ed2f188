#include "harness/score/loop_figures.hpp"

#include <algorithm>
#include <cmath>
#include <limits>

#include "harness/score/figure.hpp"
#include "harness/score/findings.hpp"

namespace trackrod {

std::vector<Figure> loop_figures(const SweepSet& set, const LineFit* line, const std::vector<Finding>& findings,
                                 const SignalInfo& input, const SignalInfo& output) {
  std::vector<Figure> figures;
  Figure loops{"Output over input at each rate",
               input.name + " (" + input.unit + ")",
               output.name + " (" + output.unit + ")",
               {},
               {}};
  Figure growth{"Width at the centre over twice the output's rate",
                "2 x rate of " + output.name + " (" + output.unit + "/s)",
                "width (" + output.unit + ")",
                {},
                {}};
  Curve widths{"apparent width", {}, {}, Curve::Style::points}, corrected{"without lag", {}, {}, Curve::Style::points};
  std::vector<const Finding*> apparent;
  for (const auto& finding : findings) {
    if (finding.name == "hysteresis.width_apparent") apparent.push_back(&finding);
    if (finding.name == "hysteresis.width_corrected" && finding.value) add_finding(corrected, 0.0, finding);
  }
  for (const auto& group : set.groups) {
    std::vector<double> x, y;
    const Sweep* last = nullptr;
    for (const auto& branch : group.branches) {
      if (last && branch.sweep != last) break;  // one sweep is enough to see
      last = branch.sweep;
      x.insert(x.end(), last->x.begin() + static_cast<std::ptrdiff_t>(branch.begin),
               last->x.begin() + static_cast<std::ptrdiff_t>(branch.end));
      y.insert(y.end(), last->y.begin() + static_cast<std::ptrdiff_t>(branch.begin),
               last->y.begin() + static_cast<std::ptrdiff_t>(branch.end));
      x.push_back(x.back());
      y.push_back(std::numeric_limits<double>::quiet_NaN());
    }
    loops.curves.push_back(thinned(with_unit(group.rate, input.unit + "/s"), x, y));
    if (!group.centre.known) continue;
    const auto which = static_cast<std::size_t>(&group - set.groups.data());
    add_finding(widths, 2.0 * group.centre.rate * std::abs(group.centre.slope), *apparent.at(which));
  }
  if (!set.groups.empty() && set.groups.front().centre.known)
    loops.marks.push_back({"centre", 'x', set.groups.front().centre.position, 0.0});
  figures.push_back(std::move(loops));
  if (widths.x.empty()) return figures;
  growth.curves.push_back(widths);
  if (!corrected.x.empty()) growth.curves.push_back(corrected);
  if (line) {
    const double far = *std::max_element(widths.x.begin(), widths.x.end());
    Curve fitted;
    fitted.label = "fitted line";
    fitted.x = {0.0, far};
    fitted.y = {line->intercept, line->intercept + line->slope * far};
    growth.curves.push_back(fitted);
  }
  figures.push_back(std::move(growth));
  return figures;
}

}  // namespace trackrod
