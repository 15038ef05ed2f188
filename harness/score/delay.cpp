// The score `delay`: how far the output lags behind the input in any motion. docs/scores/delay.md.

#include <algorithm>
#include <cmath>

#include "harness/base/units.hpp"
#include "harness/score/delay_fit.hpp"
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

Finding correlation_of(const DelayStep& step, bool rates) {
  std::vector<double> lags, noise;
  double resampling = 0.0, shape = 0.0, frequency = 0.0, compared = 0.0;
  bool complete = true;
  for (const auto& span : step.spans) {
    const double dt = std::max(1e-4, std::min(span.input.interval, span.output.interval));
    const auto lag = correlated_lag(span, rates, step.longest, dt, 0.0);
    const auto again = correlated_lag(span, rates, step.longest, dt, 0.5);
    if (!lag.reason.empty() || !again.reason.empty())
      return step.frame.missing("correlation_lag", "ms", lag.reason.empty() ? again.reason : lag.reason);
    compared += lag.compared;
    complete = complete && lag.complete;
    lags.push_back(ms * 0.5 * (lag.lag + again.lag));
    noise.push_back(ms * lag.noise);
    resampling = std::max(resampling, ms * 0.5 * std::abs(lag.lag - again.lag));
    shape = std::max(shape, ms * lag.shape);
    frequency += lag.frequency / static_cast<double>(step.spans.size());
  }
  const auto mean = repeated(lags, noise);
  auto budget = step.time_shift();
  budget.insert(budget.end(), mean.budget.begin(), mean.budget.end());
  budget.push_back(rectangular("common grid of both signals", resampling));
  budget.push_back(rectangular("shape of the peak", shape));
  auto told = step.frame;
  told.conditions.emplace_back("correlated", rates ? "rates" : "levels");
  told.conditions.emplace_back("frequency_of_motion", with_unit(frequency, "Hz (root mean square)"));
  if (!complete) told.conditions.emplace_back("compared", with_unit(compared, "s") + ", as samples are missing");
  auto finding = told.measured("correlation_lag", "ms", mean.mean, budget);
  refuse_below_resolution(finding, step.timing, step.interval);
  return finding;
}

// Reads the spans; `trouble`: why some, or all, are of no use.
DelayStep read_step(const ScoreInput& input, const std::string& name, const std::vector<Span>& spans, double longest,
                    std::string& trouble) {
  const auto& signals = input.capture.signals();
  DelayStep step{signals[input.signal("input")],
                 signals[input.signal("output")],
                 input.capture.timing(),
                 longest,
                 pair_frame(input, "delay", name),
                 {},
                 0.0};
  for (const auto& span : spans) {
    auto read = read_delay_span(input, span, longest);
    if (!read.trouble.empty()) {
      if (trouble.empty()) trouble = read.trouble;
      continue;
    }
    step.interval = std::max({step.interval, read.input.interval, read.output.interval});
    step.spans.push_back(std::move(read));
  }
  step.frame.conditions.emplace_back("cycles", std::to_string(step.spans.size()));
  const auto left_out = spans.size() - step.spans.size();
  if (3 * left_out > spans.size())
    step.spans.clear();
  else if (left_out > 0)
    step.frame.conditions.emplace_back("left_out", std::to_string(left_out) + " cycles: " + trouble);
  return step;
}

ScoreResult score_step(const ScoreInput& input, const std::string& name, const std::vector<Span>& spans) {
  const auto& settings = std::any_cast<const DelaySettings&>(input.settings);
  std::string trouble;
  const auto step = read_step(input, name, spans, seconds(settings.longest), trouble);
  ScoreResult result;
  if (step.spans.empty()) {
    for (const auto& kind : delay_score().entry.findings)
      result.findings.push_back(step.frame.missing(kind.name, step.unit(kind.name), trouble));
    return result;
  }
  result.findings.push_back(correlation_of(step, settings.correlate == Correlate::rate));
  auto fitted = fit_delay(step, settings.order, settings.play == PlayTerm::fitted);
  std::move(fitted.findings.begin(), fitted.findings.end(), std::back_inserter(result.findings));
  result.figures = std::move(fitted.figures);
  return result;
}

ScoreResult run_delay(const ScoreInput& input) {
  ScoreResult result;
  for (const auto& [step, spans] : by_step(input.spans)) {
    auto part = score_step(input, step, spans);
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
