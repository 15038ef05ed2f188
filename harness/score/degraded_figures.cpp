#include "harness/score/degraded_figures.hpp"

#include <algorithm>
#include <cmath>

#include "harness/score/figure.hpp"

namespace trackrod {
namespace {

constexpr double ms = 1e3;

double in_hand_after(const FaultCase& c) {
  if (c.effect.never) return INFINITY;
  return c.effect.in_hand ? c.effect.in_hand->t - c.fault.begin.t : 0.0;
}

}  // namespace

Figure fault_time_line(const std::vector<FaultCase>& cases, const DegradedSettings& settings,
                       const std::string& y_label) {
  const auto slowest = std::max_element(cases.begin(), cases.end(), [](const FaultCase& a, const FaultCase& b) {
    return in_hand_after(a) < in_hand_after(b);
  });
  const auto& c = *slowest;
  const double onset = c.fault.begin.t;
  Figure f{"Time line of fault " + std::to_string(slowest - cases.begin() + 1) + " of " + std::to_string(cases.size()) +
               (c.effect.never ? ", which was never in hand" : ", the slowest"),
           "time after the onset (ms)",
           y_label,
           {},
           {}};
  double last = 0.05;
  const auto mark = [&](const std::string& label, const Between& at) {
    f.marks.push_back({label, 'x', ms * (at.t - onset), ms * at.half_width});
    last = std::max(last, at.latest() - onset);
  };
  mark("onset", c.fault.begin);
  if (c.detection && c.detection->at) mark("detected", *c.detection->at);
  if (c.warning && c.warning->at)
    mark(c.warning->outcome == FaultWarning::Outcome::right ? "warning" : "wrong warning", *c.warning->at);
  if (c.effect.in_hand) mark("in hand", *c.effect.in_hand);
  if (c.effect.never) last = c.end() - onset;
  if (const double time = seconds(settings.fault_tolerant_time); time > 0.0) {
    f.marks.push_back({"fault-tolerant time", 'x', ms * time, 0.0});
    last = std::max(last, time);
  }
  if (settings.safe.size() == 2) {
    f.marks.push_back({"safe, from", 'y', settings.safe[0], 0.0});
    f.marks.push_back({"to", 'y', settings.safe[1], 0.0});
  } else if (settings.tolerance > 0.0) {
    f.marks.push_back({"tolerance", 'y', settings.tolerance, 0.0});
    f.marks.push_back({"", 'y', -settings.tolerance, 0.0});
  }
  std::vector<double> x, y;
  for (std::size_t i = 0; i < c.effect.t.size(); ++i) {
    const double t = c.effect.t[i] - onset;
    if (t < -0.5 * last || t > 1.5 * last) continue;
    x.push_back(ms * t);
    y.push_back(c.effect.v[i]);
  }
  f.curves.push_back(thinned("measured", x, y));
  return f;
}

Figure times_by_fault(const std::vector<FaultCase>& cases) {
  Figure f{"Times of each fault", "fault", "time after the onset (ms)", {}, {}};
  Curve in_hand{"in hand", {}, {}, Curve::Style::points}, warned{"warning", {}, {}, Curve::Style::points},
      detected{"detected", {}, {}, Curve::Style::points};
  for (std::size_t k = 0; k < cases.size(); ++k) {
    const auto& c = cases[k];
    const auto add = [&](Curve& curve, const std::optional<Between>& at) {
      if (!at) return;
      curve.x.push_back(static_cast<double>(k + 1));
      curve.y.push_back(ms * (at->t - c.fault.begin.t));
      const double open = ms * (at->half_width + c.fault.begin.half_width);
      curve.low.push_back(curve.y.back() - open);
      curve.high.push_back(curve.y.back() + open);
    };
    add(in_hand, c.effect.in_hand);
    if (c.warning) add(warned, c.warning->at);
    if (c.detection) add(detected, c.detection->at);
  }
  for (auto& curve : {in_hand, warned, detected})
    if (!curve.x.empty()) f.curves.push_back(curve);
  return f;
}

}  // namespace trackrod
