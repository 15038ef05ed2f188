#include "harness/score/delay_fit.hpp"

#include <algorithm>
#include <cmath>
#include <functional>

#include "harness/base/units.hpp"
#include "harness/score/delay_figures.hpp"
#include "harness/score/scores.hpp"
#include "harness/score/scoring.hpp"

namespace trackrod {
namespace {

constexpr double ms = 1e3;
constexpr std::size_t most_outputs = 40000;  // that a fit looks at; more are thinned evenly
constexpr double most_condition = 1e5;       // of the information matrix
constexpr double most_misfit = 0.1;          // residual over motion
constexpr double known_noise = 0.25;         // of the input: its share that may be wrong

using P = LagParameter;

class DelayFit {
 public:
  DelayFit(const DelayStep& step, LagOrder order, bool lost_motion);
  ScoreResult result() const;

 private:
  std::string why_no_fit() const;
  std::string told_model() const;
  // What a departure from the model as large as the one that shows could do to a quantity with this influence of each
  // output sample, unseen: the fit has already given the parameters all that they could explain.
  double hidden_by_misfit(const Eigen::VectorXd& influence) const;
  // Dead time that is more by 1 s, and slowness less.
  Eigen::VectorXd trade() const;
  // s of that trade that remain open because the lag takes but a few sampling intervals: what happens between samples
  // is not known, and noise sways it.
  double few_samples() const;
  void add_findings(std::vector<Finding>& findings) const;
  // A finding that is this function of the model, with its gradient by LagParameter.
  Finding of_fit(const std::string& name, const std::function<double(const LagModel&)>& function,
                 const Eigen::VectorXd& gradient, std::vector<Contribution> more) const;

  const DelayStep& step_;
  bool lost_motion_;
  std::vector<Stretch> stretches_;
  LagFit fit_;
  Eigen::VectorXd sampling_;  // what coarser sampling of the input shifts
};

DelayFit::DelayFit(const DelayStep& step, LagOrder order, bool lost_motion) : step_{step}, lost_motion_{lost_motion} {
  const double longest = step_.longest;
  std::size_t outputs = 0;
  for (const auto& span : step_.spans) outputs += span.output.size();
  const std::size_t stride = outputs / most_outputs + 1;
  bool rose = false, fell = false;
  double noise = 0.0, lag_guess = 0.0;
  for (const auto& span : step_.spans) {
    const double dt = std::clamp(span.input.interval, 0.5e-3, 1e-3);
    auto stretch = stretch_of(span, dt, stride, longest);
    if (stretch.t.size() >= 20) stretches_.push_back(std::move(stretch));
    const auto ways = ways_of(span.output);
    noise = std::max(noise, span.input.noise);
    rose = rose || ways.up;
    fell = fell || ways.down;
    const auto lag = correlated_lag(span, true, longest, std::max(span.input.interval, 5e-4), 0.0);
    lag_guess = std::max(lag_guess, lag.lag);  // even one that is too open to be reported
  }
  if (lag_guess <= 0.0) lag_guess = 0.1 * longest;
  if (stretches_.size() < step_.spans.size()) return;
  fit_ = fit_lag(stretches_, order, lost_motion && rose && fell, lag_guess, 3.0 * noise);
  std::vector<std::vector<double>> coarser;
  for (std::size_t i = 0; i < step_.spans.size(); ++i) coarser.push_back(coarser_input(step_.spans[i], stretches_[i]));
  // The error of straight lines between samples grows with the square of the interval.
  sampling_ = shift_by_input(fit_, stretches_, coarser) / 3.0;
}

std::string DelayFit::why_no_fit() const {
  if (stretches_.size() < step_.spans.size())
    return "too few samples of '" + step_.output.name + "' whose past input is known";
  if (!(fit_.residual <= most_misfit * fit_.motion))
    return "the model does not describe the motion: it leaves " + shown(100.0 * fit_.residual / fit_.motion, 2) +
           " % of it unexplained; the unit may have been at a limit, or is not of this order";
  const double u = std::sqrt(fit_.covariance(P::dead_time, P::dead_time));
  if (fit_.model.dead_time + 3.0 * u < -step_.interval)
    return "the model does not describe the motion: it would answer " + with_unit(-ms * fit_.model.dead_time, "ms") +
           " before its input moves; the unit may have been at a limit, or the bench states a sensor's delay wrongly";
  const double hidden = hidden_by_misfit(fit_.influence.col(P::dead_time));
  if (hidden > 0.25 * step_.longest)
    return "the model does not describe the motion: what it leaves, " + with_unit(fit_.misfit, step_.output.unit) +
           " beyond noise, could hide " + with_unit(ms * hidden, "ms") + "; the unit may have been at a limit";
  if (fit_.condition > most_condition || !(u < 0.5 * step_.longest))
    return "the motion has too little bandwidth to tell dead time from slowness (condition " +
           shown(fit_.condition, 2) + ", at most " + shown(most_condition, 2) +
           "); use steps, or triangles with sharp reversals";
  if (fit_.model.slowness() < step_.interval)
    return "the output follows within one sampling interval, " + with_unit(ms * step_.interval, "ms") +
           ": dead time cannot be told from slowness; sample faster, or use \"correlation_lag\"";
  if (!fit_.converged) return "the fit of the model found no end";
  return "";
}

double DelayFit::hidden_by_misfit(const Eigen::VectorXd& influence) const {
  return fit_.misfit * influence.norm() * std::sqrt(static_cast<double>(influence.size()));
}

Eigen::VectorXd DelayFit::trade() const {
  Eigen::VectorXd by = Eigen::VectorXd::Zero(P::count);
  by[P::dead_time] = 1.0;
  by[P::shape] = 1.0 / fit_.model.slowness();
  return by;
}

double DelayFit::few_samples() const {
  constexpr double enough = 5.0;  // sampling intervals; found by simulation
  return step_.interval * std::min(1.0, std::pow(enough * step_.interval / fit_.model.slowness(), 3));
}

std::string DelayFit::told_model() const {
  std::string told = fit_.model.order == LagOrder::first ? "dead time and first order" : "dead time and second order";
  if (fit_.fitted[P::play]) told += ", play";
  if (fit_.fitted[P::friction]) told += ", friction";
  return told;
}

Finding DelayFit::of_fit(const std::string& name, const std::function<double(const LagModel&)>& function,
                         const Eigen::VectorXd& gradient, std::vector<Contribution> more) const {
  const double noise = propagated(gradient, fit_.covariance);
  more.push_back(type_a("noise and misfit", noise, fit_.degrees_of_freedom));
  const auto m = static_cast<double>(fit_.pull.size());
  if (fit_.pull.size() > 1) {
    double between = 0.0;
    for (const auto& pull : fit_.pull) between += m / (m - 1.0) * std::pow(gradient.dot(pull), 2);
    more.push_back(type_a("repeatability", std::sqrt(std::max(0.0, between - noise * noise)), m - 1.0));
  }
  const Eigen::VectorXd influence = fit_.influence * gradient;
  const double rounded = rounding_half_width(step_.spans, stretches_, influence);
  more.push_back(rectangular("resolution of the output", rounded));
  double weight = 1.0, apart = 0.0;
  for (const auto& rival : fit_.rivals) {
    // Where the same levels are always rounded the same way, many samples are no more than one, and likelihood is vain.
    const double own = rounded > 0.0 ? 1.0 : rival.weight;
    weight += own;
    apart += own * std::pow(function(rival.model) - function(fit_.model), 2);
  }
  more.push_back(type_b("play and friction told apart", std::sqrt(apart / weight)));
  more.push_back(
      type_b("misfit of the model", fit_.misfit * influence.norm() * std::sqrt(static_cast<double>(influence.size()))));
  more.push_back(rectangular("lag of few samples", few_samples() * std::abs(gradient.dot(trade()))));
  more.push_back(type_b("end of the fit", std::abs(gradient.dot(fit_.undone))));
  more.push_back(rectangular("noise of the input", known_noise * std::abs(gradient.dot(fit_.noise_shift))));
  more.push_back(rectangular("sampling of the input", std::abs(gradient.dot(sampling_))));
  auto told = step_.frame;
  told.conditions.emplace_back("model", told_model());
  told.conditions.emplace_back("residual_memory", shown(fit_.whiteness, 2) + " between neighbours");
  return told.measured(name, step_.unit(name), function(fit_.model), std::move(more));
}

void DelayFit::add_findings(std::vector<Finding>& findings) const {
  const auto& m = fit_.model;
  const bool second = m.order == LagOrder::second;
  const auto gradient = [](std::initializer_list<std::pair<int, double>> parts) {
    Eigen::VectorXd g = Eigen::VectorXd::Zero(P::count);
    for (const auto& [which, value] : parts) g[which] = value;
    return g;
  };
  auto dead = of_fit(
      "dead_time", [](const LagModel& x) { return ms * x.dead_time; }, gradient({{P::dead_time, ms}}),
      step_.time_shift());
  const auto slowness = gradient({{P::shape, -m.slowness()}, {P::damping, second ? m.slowness() : 0.0}});
  const double covariance = gradient({{P::dead_time, 1.0}}).dot(fit_.covariance * slowness);
  dead.conditions.emplace_back("covariance_with_slowness", shown(ms * ms * covariance, 3) + " ms^2");
  auto ramp = of_fit(
      "ramp_lag", [](const LagModel& x) { return ms * (x.dead_time + x.slowness()); },
      ms * (gradient({{P::dead_time, 1.0}}) + slowness), step_.time_shift());
  refuse_below_resolution(dead, step_.timing, step_.interval);
  refuse_below_resolution(ramp, step_.timing, step_.interval);
  findings.push_back(std::move(dead));
  findings.push_back(std::move(ramp));
  if (second) {
    findings.push_back(step_.frame.missing("time_constant", "ms", "the fitted model is of second order"));
    findings.push_back(of_fit("natural_frequency", [](const LagModel& x) { return x.natural; },
                              gradient({{P::shape, m.natural}}), {}));
    findings.push_back(
        of_fit("damping", [](const LagModel& x) { return x.damping; }, gradient({{P::damping, m.damping}}), {}));
  } else {
    findings.push_back(of_fit("time_constant", [](const LagModel& x) { return ms / x.natural; },
                              gradient({{P::shape, -ms / m.natural}}), {}));
    findings.push_back(step_.frame.missing("natural_frequency", "rad/s", "the fitted model is of first order"));
    findings.push_back(step_.frame.missing("damping", "1", "the fitted model is of first order"));
  }
  const double in_span = step_.spans.front().input.span(), out_span = step_.spans.front().output.span();
  auto calibration = calibration_budget(step_.input, in_span, m.gain / in_span);
  for (auto& line : calibration_budget(step_.output, out_span, 1.0 / in_span)) calibration.push_back(line);
  findings.push_back(of_fit(
      "gain", [](const LagModel& x) { return x.gain; }, gradient({{P::gain, 1.0}}), calibration));
  if (fit_.fitted[P::play] || fit_.fitted[P::friction]) {
    const auto lost = gradient({{P::play, 1.0},
                                {P::friction, 2.0 * std::abs(m.gain)},
                                {P::gain, 2.0 * m.friction * std::copysign(1.0, m.gain)}});
    findings.push_back(of_fit("lost_motion", [](const LagModel& x) { return x.lost_motion(); }, lost, {}));
  } else {
    findings.push_back(step_.frame.missing(
        "lost_motion", step_.output.unit,
        !lost_motion_ ? "the model is set to have no lost motion"
                      : "no lost motion was found, or the motion does not reverse, so none can be told"));
  }
  findings.push_back(step_.frame.exact("residual", step_.output.unit, fit_.residual));
}

ScoreResult DelayFit::result() const {
  ScoreResult result;
  const auto reason = why_no_fit();
  if (reason.empty())
    add_findings(result.findings);
  else
    for (const auto& kind : delay_score().entry.findings)
      if (kind.name != "correlation_lag")
        result.findings.push_back(step_.frame.missing(kind.name, step_.unit(kind.name), reason));
  if (stretches_.size() == step_.spans.size())
    result.figures = delay_figures(step_.frame.step, step_.input, step_.output, step_.spans.front(), stretches_.front(),
                                   fit_, result.findings);
  return result;
}

}  // namespace

std::string DelayStep::unit(const std::string& name) const {
  for (const auto& kind : delay_score().entry.findings)
    if (kind.name == name) return finding_unit(kind.unit, input.unit, output.unit);
  return "1";
}

std::vector<Contribution> DelayStep::time_shift() const {
  return time_shift_budget(input, output, spans.front().input.stamp_half_width, spans.front().output.stamp_half_width);
}

ScoreResult fit_delay(const DelayStep& step, LagOrder order, bool lost_motion) {
  return DelayFit{step, order, lost_motion}.result();
}

}  // namespace trackrod
