// The score `skew`: how much later one signal shows a motion than another that sees the same motion.
// docs/scores/skew.md.

#include <algorithm>
#include <cmath>
#include <complex>
#include <numbers>
#include <numeric>

#include "harness/base/units.hpp"
#include "harness/score/delay_data.hpp"
#include "harness/score/figure.hpp"
#include "harness/score/findings.hpp"
#include "harness/score/lag_worth.hpp"
#include "harness/score/scores.hpp"
#include "harness/score/scoring.hpp"

namespace trackrod {
namespace {

constexpr double ms = 1e3;
constexpr double most_unlike = 0.05;  // root mean square of what shift and scale leave, over that of the motion

enum class Sign { same, opposite };

struct SkewSettings {
  Sign sign{Sign::same};
  Duration longest{from_seconds(0.05)};
};

const Fields<SkewSettings>& skew_fields() {
  static const auto fields =
      Fields<SkewSettings>{"score", "How much later one signal shows a motion than another that sees the same motion"}
          .may("sign", &SkewSettings::sign, choice<Sign>({{"same", Sign::same}, {"opposite", Sign::opposite}}),
               "whether the output should go the way of the input; \"same\" when not given")
          .may("longest", &SkewSettings::longest, duration(from_seconds(0.001), from_seconds(2.0)),
               "the longest skew that is looked for, either way; 50 ms when not given");
  return fields;
}

// One span: the output as the shifted and scaled input.
struct SpanSkew {
  double skew{0.0};                                                     // s, beyond the declared delays
  double noise{0.0};                                                    // s
  double grid{0.0}, shape{0.0}, hidden{0.0}, rounding{0.0};             // s, half-widths
  double gain{0.0}, gain_noise{0.0}, gain_hidden{0.0}, gain_bent{0.0};  // output/input; the last two half-widths
  double residual{0.0};                                                 // output
  double in_span{0.0}, out_span{0.0};                                   // of the motion, in the sensors' units
  double frequency{0.0};                                                // Hz
  std::vector<double> t, shifted, unshifted;  // what the output leaves with the input shifted, and as it is
  std::string reason;                         // why there is none
};

// Least squares of y on x: the line, and the root mean square of each about its mean.
struct Line {
  double gain{0.0}, offset{0.0}, x_spread{0.0}, y_spread{0.0};
};
Line line_through(const std::vector<double>& x, const std::vector<double>& y) {
  const auto n = static_cast<Eigen::Index>(x.size());
  const Eigen::Map<const Eigen::ArrayXd> a{x.data(), n}, b{y.data(), n};
  const double x_spread = std::sqrt((a - a.mean()).square().mean());
  const double gain = ((a - a.mean()) * (b - b.mean())).mean() / (x_spread * x_spread);
  return {gain, b.mean() - gain * a.mean(), x_spread, std::sqrt((b - b.mean()).square().mean())};
}

// What rounding to a sensor's steps may shift the whole by, in the sensor's unit: without noise of half a step, samples
// that all fall on one place between two steps are all rounded alike. `where`: what the other sensor says of the value
// at each sample, in steps, with the way it moves. Half a step times how much the places resemble each other (the
// length of their mean direction on the circle), the worse of both ways.
double rounded_alike(const Series& sensor, const std::vector<std::pair<double, bool>>& where) {
  if (sensor.resolution <= 0.0 || sensor.noise >= 0.5 * sensor.resolution) return 0.0;
  std::complex<double> sum[2]{};
  double count[2]{};
  for (const auto& [place, up] : where) {
    sum[up] += std::polar(1.0, 2.0 * std::numbers::pi * place);
    count[up] += 1.0;
  }
  double alike = 0.0;
  for (const int way : {0, 1})
    if (count[way] > 0.0) alike = std::max(alike, std::abs(sum[way]) / count[way]);
  return 0.5 * sensor.resolution * alike;
}

// The output held against the input, shifted by the skew found, at samples `dt` or more apart.
void hold_against(const DelaySpan& span, double dt, SpanSkew& out) {
  const double shift = span.lead + out.skew;
  std::vector<double> x, still, y;
  for (std::size_t i = 0; i < span.output.size(); ++i) {
    const double t = span.output.t[i];
    if (!out.t.empty() && t - out.t.back() < 0.99 * dt) continue;
    if (t - shift < span.input.t.front() || t - shift > span.input.t.back()) continue;
    out.t.push_back(t);
    y.push_back(span.output.y[i]);
    x.push_back(span.input.at(t - shift));
    still.push_back(span.input.at(t - span.lead));
  }
  if (out.t.size() < 20) {
    out.reason = "too few samples of both signals at the same time";
    return;
  }
  const auto line = line_through(x, y);
  Eigen::VectorXd left(static_cast<Eigen::Index>(y.size()));
  double rate = 0.0, bent = 0.0;
  const double x_mean = std::accumulate(x.begin(), x.end(), 0.0) / static_cast<double>(x.size());
  std::vector<std::pair<double, bool>> in_steps, out_steps;
  for (std::size_t i = 0; i < y.size(); ++i) {
    left[static_cast<Eigen::Index>(i)] = y[i] - line.gain * x[i] - line.offset;
    out.shifted.push_back(left[static_cast<Eigen::Index>(i)]);
    out.unshifted.push_back(y[i] - line.gain * still[i] - line.offset);
    const double before = span.input.at(out.t[i] - shift - 2.0 * dt),
                 after = span.input.at(out.t[i] - shift + 2.0 * dt);
    const double slope = (after - before) / (4.0 * dt);
    // On average a straight line between samples lies x'' interval^2 / 12 above a curve.
    bent += (x[i] - x_mean) * (after - 2.0 * x[i] + before) / 48.0 * std::pow(span.input.interval / dt, 2);
    rate += std::pow(line.gain * slope, 2) / static_cast<double>(y.size());
    if (span.output.resolution > 0.0)
      out_steps.emplace_back((line.gain * x[i] + line.offset) / span.output.resolution, line.gain * slope > 0.0);
    if (span.input.resolution > 0.0)
      in_steps.emplace_back((y[i] - line.offset) / line.gain / span.input.resolution, slope > 0.0);
  }
  out.residual = std::sqrt(left.squaredNorm() / static_cast<double>(left.size()));
  // Neighbours share a sample of the input in the straight line between: 1/6 of its variance on average, in one of the
  // four distances that are looked at.
  const double shared = std::pow(line.gain * span.input.noise, 2) / 24.0;
  const double misfit = std::sqrt(structured_square(left, shared));
  const double alike =
      std::hypot(rounded_alike(span.output, out_steps), line.gain * rounded_alike(span.input, in_steps));
  out.hidden = misfit / std::sqrt(rate);
  out.rounding = alike / std::sqrt(rate);
  // Of a straight line through n points (Draper and Smith, "Applied Regression Analysis"; from memory).
  out.gain_noise = out.residual / line.x_spread / std::sqrt(static_cast<double>(y.size()));
  bent /= static_cast<double>(y.size()) * line.x_spread * line.x_spread;
  out.gain_hidden = std::hypot(misfit, alike) / line.x_spread;
  // Taken out; how well, is known to about half of it.
  out.gain = line.gain * (1.0 + bent);
  out.gain_bent = 0.5 * std::abs(line.gain * bent);
  if (misfit > most_unlike * line.y_spread)
    out.reason = "the two do not see the same motion: shifted and scaled, one leaves " +
                 shown(100.0 * misfit / line.y_spread, 2) + " % of the other unexplained";
}

SpanSkew skew_of(const DelaySpan& span, const SkewSettings& settings) {
  const double longest = seconds(settings.longest);
  const double dt = std::max({1e-4, span.input.interval, span.output.interval});
  SpanSkew out;
  const auto lag = correlated_lag(span, false, longest, dt, 0.0);
  const auto again = correlated_lag(span, false, longest, dt, 0.5);
  out.reason = lag.reason.empty() ? again.reason : lag.reason;
  if (!out.reason.empty()) return out;
  if ((lag.coefficient > 0.0) != (settings.sign == Sign::same)) {
    out.reason =
        std::string{"wrong sign: the output goes "} +
        (lag.coefficient > 0.0 ? "with the input; expected against it" : "against the input; expected with it") +
        ". Look at wiring and \"positive\", or say \"sign\"";
    return out;
  }
  out.skew = 0.5 * (lag.lag + again.lag);
  out.noise = lag.noise;
  out.grid = 0.5 * std::abs(lag.lag - again.lag);
  out.shape = lag.shape;
  out.frequency = lag.frequency;
  out.in_span = span.input.span(), out.out_span = span.output.span();
  hold_against(span, dt, out);
  return out;
}

class SkewStep {
 public:
  SkewStep(const ScoreInput& input, const std::string& name, const std::vector<Span>& spans)
      : in_{input.capture.signals()[input.signal("input")]},
        out_{input.capture.signals()[input.signal("output")]},
        settings_{std::any_cast<const SkewSettings&>(input.settings)},
        frame_{pair_frame(input, "skew", name)} {
    for (const auto* info : {&in_, &out_})
      if (info->direction == Direction::drive)
        trouble_ = "'" + info->name + "' is driven: it is what was asked for, and sees no motion";
    if (!trouble_.empty()) return;
    const double longest = seconds(settings_.longest);
    for (const auto& span : spans) {
      const auto read = read_delay_span(input, span, longest, longest);
      auto skew = read.trouble.empty() ? skew_of(read, settings_) : SpanSkew{};
      const auto& trouble = read.trouble.empty() ? skew.reason : read.trouble;
      if (!trouble.empty()) {
        trouble_ = trouble;
        continue;
      }
      in_half_width_ = std::max(in_half_width_, read.input.stamp_half_width);
      out_half_width_ = std::max(out_half_width_, read.output.stamp_half_width);
      found_.push_back(std::move(skew));
    }
    frame_.conditions.emplace_back("cycles", std::to_string(found_.size()));
    const auto left_out = spans.size() - found_.size();
    if (3 * left_out > spans.size())
      found_.clear();
    else if (left_out > 0)
      frame_.conditions.emplace_back("left_out", std::to_string(left_out) + " cycles: " + trouble_);
  }

  ScoreResult result() const {
    ScoreResult result;
    if (found_.empty()) {
      for (const auto& kind : skew_score().entry.findings)
        result.findings.push_back(frame_.missing(kind.name, finding_unit(kind.unit, in_.unit, out_.unit), trouble_));
      return result;
    }
    std::vector<double> skews, noise, gains, gain_noise;
    double gain_hidden = 0.0, gain_bent = 0.0, squares = 0.0, frequency = 0.0, grid = 0.0, shape = 0.0, hidden = 0.0,
           rounding = 0.0;
    const auto n = static_cast<double>(found_.size());
    for (const auto& s : found_) {
      skews.push_back(ms * s.skew);
      noise.push_back(ms * s.noise);
      gains.push_back(s.gain);
      gain_noise.push_back(s.gain_noise);
      gain_hidden = std::max(gain_hidden, s.gain_hidden);
      gain_bent = std::max(gain_bent, s.gain_bent);
      squares += s.residual * s.residual / n;
      frequency += s.frequency / n;
      grid = std::max(grid, ms * s.grid);
      shape = std::max(shape, ms * s.shape);
      hidden = std::max(hidden, ms * s.hidden);
      rounding = std::max(rounding, ms * s.rounding);
    }
    const auto mean = repeated(skews, noise);
    auto budget = stamps_budget(in_half_width_, out_half_width_);
    budget.insert(budget.end(), mean.budget.begin(), mean.budget.end());
    budget.push_back(rectangular("common grid of both signals", grid));
    budget.push_back(rectangular("shape of the peak", shape));
    budget.push_back(rectangular("what shift and scale leave", hidden));
    budget.push_back(rectangular("samples that are all rounded alike", rounding));
    auto told = frame_;
    told.conditions.emplace_back("frequency_of_motion", with_unit(frequency, "Hz (root mean square)"));
    const double declared = ms * seconds(out_.delay - in_.delay);
    result.findings = {told.measured("skew", "ms", mean.mean + declared, budget),
                       told.measured("remaining", "ms", mean.mean, budget),
                       gain(told, repeated(gains, gain_noise), gain_hidden, gain_bent),
                       told.exact("residual", out_.unit, std::sqrt(squares))};
    result.figures = {figure(), by_cycle(skews, declared, result.findings.front())};
    return result;
  }

 private:
  Finding gain(const Frame& frame, const Repeated& mean, double hidden, double bent) const {
    auto budget = mean.budget;
    budget.push_back(rectangular("what shift and scale leave", hidden));
    budget.push_back(rectangular("straight lines between samples", bent));
    double in_span = 0.0, out_span = 0.0;
    for (const auto& s : found_) in_span = std::max(in_span, s.in_span), out_span = std::max(out_span, s.out_span);
    for (auto& line : calibration_budget(in_, in_span, mean.mean / in_span)) budget.push_back(std::move(line));
    for (auto& line : calibration_budget(out_, out_span, mean.mean / out_span)) budget.push_back(std::move(line));
    return frame.measured("gain", finding_unit("output/input", in_.unit, out_.unit), mean.mean, std::move(budget));
  }
  static Figure by_cycle(const std::vector<double>& skews, double declared, const Finding& skew) {
    Figure f{"Skew of each cycle", "cycle", "skew (ms)", {{"measured", {}, {}, Curve::Style::points}}, {}};
    for (const double one : skews) {
      f.curves[0].x.push_back(static_cast<double>(f.curves[0].x.size() + 1));
      f.curves[0].y.push_back(one + declared);
    }
    add_mark(f, "skew", 'y', skew);
    f.marks.push_back({"as the bench states it", 'y', declared, 0.0});
    return f;
  }
  Figure figure() const {
    const auto& s = found_.front();
    return {"Step '" + frame_.step + "': '" + out_.name + "' less '" + in_.name + "', scaled",
            "time in the step (s)",
            "difference (" + out_.unit + ")",
            {thinned("as the bench states the delays", s.t, s.unshifted), thinned("skew taken out", s.t, s.shifted)},
            {}};
  }

  const SignalInfo& in_;
  const SignalInfo& out_;
  const SkewSettings& settings_;
  Frame frame_;
  std::vector<SpanSkew> found_;
  std::string trouble_;
  double in_half_width_{0.0}, out_half_width_{0.0};
};

ScoreResult run_skew(const ScoreInput& input) {
  ScoreResult result;
  for (const auto& [step, spans] : by_step(input.spans)) {
    auto part = SkewStep{input, step, spans}.result();
    std::move(part.findings.begin(), part.findings.end(), std::back_inserter(result.findings));
    std::move(part.figures.begin(), part.figures.end(), std::back_inserter(result.figures));
  }
  const auto& infos = input.capture.signals();
  if (input.spans.empty())
    for (const auto& kind : skew_score().entry.findings)
      result.findings.push_back(
          pair_frame(input, "skew", "")
              .missing(kind.name,
                       finding_unit(kind.unit, infos[input.signal("input")].unit, infos[input.signal("output")].unit),
                       "no complete step to score", false));
  return result;
}

}  // namespace

ScoreKind skew_score() {
  ScoreKind score;
  score.entry.settings = kind("skew", skew_fields);
  score.entry.roles = {{"input", "the signal whose time counts"}, {"output", "the signal that sees the same motion"}};
  score.entry.findings = {
      {"skew", "ms", "how much later the output shows the motion than the input, by their stamps alone"},
      {"remaining", "ms", "the same beyond the delays that the bench states; 0 where these are right"},
      {"gain", "output/input", "output over input, signed"},
      {"residual", "output", "root mean square of what shift and scale leave unexplained"}};
  score.run = run_skew;
  return score;
}

}  // namespace trackrod
