// The score `delay`: how far the output lags behind the input in any motion. docs/scores/delay.md.

#include <algorithm>
#include <cmath>
#include <functional>

#include "harness/base/units.hpp"
#include "harness/score/delay_data.hpp"
#include "harness/score/delay_figures.hpp"
#include "harness/score/findings.hpp"
#include "harness/score/lag_fit.hpp"
#include "harness/score/scores.hpp"
#include "harness/score/scoring.hpp"

namespace trackrod {
namespace {

enum class PlayTerm { fitted, none };
enum class Correlate { rate, level };

struct DelaySettings {
  LagOrder order{LagOrder::second};
  PlayTerm play{PlayTerm::fitted};
  Correlate correlate{Correlate::rate};
  Duration longest{from_seconds(0.2)};
};

const Fields<DelaySettings>& delay_fields() {
  static const auto fields =
      Fields<DelaySettings>{"score",
                            "Lag of the output behind the input: by correlation, and by a fitted model that tells dead "
                            "time from slowness"}
          .may("order", &DelaySettings::order,
               choice<LagOrder>({{"first", LagOrder::first}, {"second", LagOrder::second}}),
               "of the fitted model behind its dead time; \"second\" when not given")
          .may("play", &DelaySettings::play, choice<PlayTerm>({{"fitted", PlayTerm::fitted}, {"none", PlayTerm::none}}),
               "whether lost motion at reversal is part of the model; \"fitted\" when not given")
          .may("correlate", &DelaySettings::correlate,
               choice<Correlate>({{"rate", Correlate::rate}, {"level", Correlate::level}}),
               "what is correlated: rates (also right for single steps) or levels (for motion to and fro); \"rate\" "
               "when not given")
          .may("longest", &DelaySettings::longest, duration(from_seconds(0.001), from_seconds(5.0)),
               "the longest lag that is looked for; 200 ms when not given");
  return fields;
}

constexpr double ms = 1e3;
constexpr std::size_t most_outputs = 40000;  // that a fit looks at; more are thinned evenly
constexpr double most_condition = 1e5;       // of the information matrix
constexpr double most_misfit = 0.1;          // residual over motion
constexpr double known_noise = 0.25;         // of the input: its share that may be wrong

using P = LagParameter;

// One step: its spans, and what came of them.
class DelayOfStep {
 public:
  DelayOfStep(const ScoreInput& input, const std::string& step, const std::vector<Span>& spans);
  ScoreResult run();

 private:
  Finding correlation() const;
  void fit();
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
  void add_fit_findings(std::vector<Finding>& findings) const;
  // A finding that is this function of the model, with its gradient by LagParameter.
  Finding of_fit(const std::string& name, const std::function<double(const LagModel&)>& function,
                 const Eigen::VectorXd& gradient, std::vector<Contribution> more) const;
  std::vector<Contribution> shift_budget() const;
  std::string unit(const std::string& name) const;

  const ScoreInput& input_;
  const DelaySettings& settings_;
  const SignalInfo& in_info_;
  const SignalInfo& out_info_;
  Frame frame_;
  std::vector<DelaySpan> spans_;  // usable ones
  std::string trouble_;           // why there are none
  double interval_{0.0};          // s, the coarser signal's
  double lag_guess_{0.0};
  std::vector<Stretch> stretches_;
  LagFit fit_;
  Eigen::VectorXd sampling_;  // what coarser sampling of the input shifts
};

DelayOfStep::DelayOfStep(const ScoreInput& input, const std::string& step, const std::vector<Span>& spans)
    : input_{input},
      settings_{std::any_cast<const DelaySettings&>(input.settings)},
      in_info_{input.capture.signals()[input.signal("input")]},
      out_info_{input.capture.signals()[input.signal("output")]},
      frame_{pair_frame(input, "delay", step)} {
  for (const auto& span : spans) {
    auto read = read_delay_span(input, span, seconds(settings_.longest));
    if (!read.trouble.empty()) {
      if (trouble_.empty()) trouble_ = read.trouble;
      continue;
    }
    interval_ = std::max({interval_, read.input.interval, read.output.interval});
    spans_.push_back(std::move(read));
  }
  frame_.conditions.emplace_back("cycles", std::to_string(spans_.size()));
  const auto left_out = spans.size() - spans_.size();
  if (3 * left_out > spans.size())
    spans_.clear();
  else if (left_out > 0)
    frame_.conditions.emplace_back("left_out", std::to_string(left_out) + " cycles: " + trouble_);
}

std::string DelayOfStep::unit(const std::string& name) const {
  for (const auto& kind : delay_score().entry.findings)
    if (kind.name == name) return finding_unit(kind.unit, in_info_.unit, out_info_.unit);
  return "1";
}

std::vector<Contribution> DelayOfStep::shift_budget() const {
  return time_shift_budget(in_info_, out_info_, spans_.front().input.stamp_half_width,
                           spans_.front().output.stamp_half_width);
}

Finding DelayOfStep::correlation() const {
  const bool rates = settings_.correlate == Correlate::rate;
  const double longest = seconds(settings_.longest);
  std::vector<double> lags, noise;
  double resampling = 0.0, shape = 0.0, frequency = 0.0, compared = 0.0;
  bool complete = true;
  for (const auto& span : spans_) {
    const double dt = std::max(1e-4, std::min(span.input.interval, span.output.interval));
    const auto lag = correlated_lag(span, rates, longest, dt, 0.0);
    const auto again = correlated_lag(span, rates, longest, dt, 0.5);
    if (!lag.reason.empty() || !again.reason.empty())
      return frame_.missing("correlation_lag", "ms", lag.reason.empty() ? again.reason : lag.reason);
    compared += lag.compared;
    complete = complete && lag.complete;
    lags.push_back(ms * 0.5 * (lag.lag + again.lag));
    noise.push_back(ms * lag.noise);
    resampling = std::max(resampling, ms * 0.5 * std::abs(lag.lag - again.lag));
    shape = std::max(shape, ms * lag.shape);
    frequency += lag.frequency / static_cast<double>(spans_.size());
  }
  const auto mean = repeated(lags, noise);
  auto budget = shift_budget();
  budget.insert(budget.end(), mean.budget.begin(), mean.budget.end());
  budget.push_back(rectangular("common grid of both signals", resampling));
  budget.push_back(rectangular("shape of the peak", shape));
  auto told = frame_;
  told.conditions.emplace_back("correlated", rates ? "rates" : "levels");
  told.conditions.emplace_back("frequency_of_motion", with_unit(frequency, "Hz (root mean square)"));
  if (!complete) told.conditions.emplace_back("compared", with_unit(compared, "s") + ", as samples are missing");
  auto finding = told.measured("correlation_lag", "ms", mean.mean, budget);
  refuse_below_resolution(finding, input_.capture.timing(), interval_);
  return finding;
}

void DelayOfStep::fit() {
  const double longest = seconds(settings_.longest);
  std::size_t outputs = 0;
  for (const auto& span : spans_) outputs += span.output.size();
  const std::size_t stride = outputs / most_outputs + 1;
  bool rose = false, fell = false;
  double noise = 0.0;
  for (const auto& span : spans_) {
    const double dt = std::clamp(span.input.interval, 0.5e-3, 1e-3);
    auto stretch = stretch_of(span, dt, stride, longest);
    if (stretch.t.size() >= 20) stretches_.push_back(std::move(stretch));
    const auto ways = ways_of(span.output);
    noise = std::max(noise, span.input.noise);
    rose = rose || ways.up;
    fell = fell || ways.down;
    const auto lag = correlated_lag(span, true, longest, std::max(span.input.interval, 5e-4), 0.0);
    lag_guess_ = std::max(lag_guess_, lag.lag);  // even one that is too open to be reported
  }
  if (lag_guess_ <= 0.0) lag_guess_ = 0.1 * longest;
  if (stretches_.size() < spans_.size()) return;
  fit_ =
      fit_lag(stretches_, settings_.order, settings_.play == PlayTerm::fitted && rose && fell, lag_guess_, 3.0 * noise);
  std::vector<std::vector<double>> coarser;
  for (std::size_t i = 0; i < spans_.size(); ++i) coarser.push_back(coarser_input(spans_[i], stretches_[i]));
  // The error of straight lines between samples grows with the square of the interval.
  sampling_ = shift_by_input(fit_, stretches_, coarser) / 3.0;
}

std::string DelayOfStep::why_no_fit() const {
  if (stretches_.size() < spans_.size()) return "too few samples of '" + out_info_.name + "' whose past input is known";
  if (!(fit_.residual <= most_misfit * fit_.motion))
    return "the model does not describe the motion: it leaves " + shown(100.0 * fit_.residual / fit_.motion, 2) +
           " % of it unexplained; the unit may have been at a limit, or is not of this order";
  const double u = std::sqrt(fit_.covariance(P::dead_time, P::dead_time));
  if (fit_.model.dead_time + 3.0 * u < -interval_)
    return "the model does not describe the motion: it would answer " + with_unit(-ms * fit_.model.dead_time, "ms") +
           " before its input moves; the unit may have been at a limit, or the bench states a sensor's delay wrongly";
  const double hidden = hidden_by_misfit(fit_.influence.col(P::dead_time));
  if (hidden > 0.25 * seconds(settings_.longest))
    return "the model does not describe the motion: what it leaves, " + with_unit(fit_.misfit, out_info_.unit) +
           " beyond noise, could hide " + with_unit(ms * hidden, "ms") + "; the unit may have been at a limit";
  if (fit_.condition > most_condition || !(u < 0.5 * seconds(settings_.longest)))
    return "the motion has too little bandwidth to tell dead time from slowness (condition " +
           shown(fit_.condition, 2) + ", at most " + shown(most_condition, 2) +
           "); use steps, or triangles with sharp reversals";
  if (fit_.model.slowness() < interval_)
    return "the output follows within one sampling interval, " + with_unit(ms * interval_, "ms") +
           ": dead time cannot be told from slowness; sample faster, or use \"correlation_lag\"";
  if (!fit_.converged) return "the fit of the model found no end";
  return "";
}

double DelayOfStep::hidden_by_misfit(const Eigen::VectorXd& influence) const {
  return fit_.misfit * influence.norm() * std::sqrt(static_cast<double>(influence.size()));
}

Eigen::VectorXd DelayOfStep::trade() const {
  Eigen::VectorXd by = Eigen::VectorXd::Zero(P::count);
  by[P::dead_time] = 1.0;
  by[P::shape] = 1.0 / fit_.model.slowness();
  return by;
}

double DelayOfStep::few_samples() const {
  constexpr double enough = 5.0;  // sampling intervals; found by simulation
  return interval_ * std::min(1.0, std::pow(enough * interval_ / fit_.model.slowness(), 3));
}

std::string DelayOfStep::told_model() const {
  std::string told = settings_.order == LagOrder::first ? "dead time and first order" : "dead time and second order";
  if (fit_.fitted[P::play]) told += ", play";
  if (fit_.fitted[P::friction]) told += ", friction";
  return told;
}

Finding DelayOfStep::of_fit(const std::string& name, const std::function<double(const LagModel&)>& function,
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
  const double rounded = rounding_half_width(spans_, stretches_, influence);
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
  auto told = frame_;
  told.conditions.emplace_back("model", told_model());
  told.conditions.emplace_back("residual_memory", shown(fit_.whiteness, 2) + " between neighbours");
  return told.measured(name, unit(name), function(fit_.model), std::move(more));
}

void DelayOfStep::add_fit_findings(std::vector<Finding>& findings) const {
  const auto& m = fit_.model;
  const bool second = m.order == LagOrder::second;
  const auto gradient = [](std::initializer_list<std::pair<int, double>> parts) {
    Eigen::VectorXd g = Eigen::VectorXd::Zero(P::count);
    for (const auto& [which, value] : parts) g[which] = value;
    return g;
  };
  auto dead = of_fit(
      "dead_time", [](const LagModel& x) { return ms * x.dead_time; }, gradient({{P::dead_time, ms}}), shift_budget());
  const auto slowness = gradient({{P::shape, -m.slowness()}, {P::damping, second ? m.slowness() : 0.0}});
  const double covariance = gradient({{P::dead_time, 1.0}}).dot(fit_.covariance * slowness);
  dead.conditions.emplace_back("covariance_with_slowness", shown(ms * ms * covariance, 3) + " ms^2");
  auto ramp = of_fit(
      "ramp_lag", [](const LagModel& x) { return ms * (x.dead_time + x.slowness()); },
      ms * (gradient({{P::dead_time, 1.0}}) + slowness), shift_budget());
  refuse_below_resolution(dead, input_.capture.timing(), interval_);
  refuse_below_resolution(ramp, input_.capture.timing(), interval_);
  findings.push_back(std::move(dead));
  findings.push_back(std::move(ramp));
  if (second) {
    findings.push_back(frame_.missing("time_constant", "ms", "the fitted model is of second order"));
    findings.push_back(of_fit("natural_frequency", [](const LagModel& x) { return x.natural; },
                              gradient({{P::shape, m.natural}}), {}));
    findings.push_back(
        of_fit("damping", [](const LagModel& x) { return x.damping; }, gradient({{P::damping, m.damping}}), {}));
  } else {
    findings.push_back(of_fit("time_constant", [](const LagModel& x) { return ms / x.natural; },
                              gradient({{P::shape, -ms / m.natural}}), {}));
    findings.push_back(frame_.missing("natural_frequency", "rad/s", "the fitted model is of first order"));
    findings.push_back(frame_.missing("damping", "1", "the fitted model is of first order"));
  }
  const double in_span = spans_.front().input.span(), out_span = spans_.front().output.span();
  auto calibration = calibration_budget(in_info_, in_span, m.gain / in_span);
  for (auto& line : calibration_budget(out_info_, out_span, 1.0 / in_span)) calibration.push_back(line);
  findings.push_back(of_fit(
      "gain", [](const LagModel& x) { return x.gain; }, gradient({{P::gain, 1.0}}), calibration));
  if (fit_.fitted[P::play] || fit_.fitted[P::friction]) {
    const auto lost = gradient({{P::play, 1.0},
                                {P::friction, 2.0 * std::abs(m.gain)},
                                {P::gain, 2.0 * m.friction * std::copysign(1.0, m.gain)}});
    findings.push_back(of_fit("lost_motion", [](const LagModel& x) { return x.lost_motion(); }, lost, {}));
  } else {
    findings.push_back(
        frame_.missing("lost_motion", out_info_.unit,
                       settings_.play == PlayTerm::none
                           ? "the model is set to have no lost motion"
                           : "no lost motion was found, or the motion does not reverse, so none can be told"));
  }
  findings.push_back(frame_.exact("residual", out_info_.unit, fit_.residual));
}

ScoreResult DelayOfStep::run() {
  ScoreResult result;
  if (spans_.empty()) {
    for (const auto& kind : delay_score().entry.findings)
      result.findings.push_back(frame_.missing(kind.name, unit(kind.name), trouble_));
    return result;
  }
  result.findings.push_back(correlation());
  fit();
  const auto reason = why_no_fit();
  if (reason.empty())
    add_fit_findings(result.findings);
  else
    for (const auto& kind : delay_score().entry.findings)
      if (kind.name != "correlation_lag") result.findings.push_back(frame_.missing(kind.name, unit(kind.name), reason));
  if (stretches_.size() == spans_.size())
    result.figures = delay_figures(frame_.step, in_info_, out_info_, spans_.front(), stretches_.front(), fit_);
  return result;
}

ScoreResult run_delay(const ScoreInput& input) {
  ScoreResult result;
  for (const auto& [step, spans] : by_step(input.spans)) {
    auto part = DelayOfStep{input, step, spans}.run();
    std::move(part.findings.begin(), part.findings.end(), std::back_inserter(result.findings));
    std::move(part.figures.begin(), part.figures.end(), std::back_inserter(result.figures));
  }
  if (input.spans.empty()) {
    const auto& signals = input.capture.signals();
    for (const auto& kind : delay_score().entry.findings)
      result.findings.push_back(pair_frame(input, "delay", "")
                                    .missing(kind.name,
                                             finding_unit(kind.unit, signals[input.signal("input")].unit,
                                                          signals[input.signal("output")].unit),
                                             "no complete step to score", false));
  }
  return result;
}

}  // namespace

ScoreKind delay_score() {
  ScoreKind score;
  score.entry.settings = kind("delay", delay_fields);
  score.entry.roles = {{"input", "what is moved, such as the bench's angle sensor at the hand wheel"},
                       {"output", "what answers, such as the bench's angle sensor at the road wheel"}};
  score.entry.findings = {
      {"correlation_lag", "ms",
       "shift at which output and input resemble each other most; depends on the spectrum of the motion"},
      {"dead_time", "ms", "pure delay of the fitted model"},
      {"ramp_lag", "ms", "lag of the fitted model on a steady ramp: dead time and slowness together"},
      {"time_constant", "ms", "of the fitted first-order model"},
      {"natural_frequency", "rad/s", "of the fitted second-order model, undamped"},
      {"damping", "1", "damping ratio of the fitted second-order model"},
      {"gain", "output/input", "output over input of the fitted model, signed"},
      {"lost_motion", "output", "width of the fitted play term, whatever its cause: play, friction or dead band"},
      {"residual", "output", "root mean square of what the fitted model leaves unexplained"}};
  score.run = run_delay;
  return score;
}

}  // namespace trackrod
