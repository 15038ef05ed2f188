// The score `polarity`: which way, and how far, an output goes when its input is moved from rest to rest.
// docs/scores/polarity.md.

#include <algorithm>
#include <cmath>
#include <tuple>

#include "harness/score/figure.hpp"
#include "harness/score/findings.hpp"
#include "harness/score/scores.hpp"
#include "harness/score/scoring.hpp"
#include "harness/score/series.hpp"

namespace trackrod {
namespace {

struct PolaritySettings {
  Duration quiet{std::chrono::milliseconds{300}};
};

const Fields<PolaritySettings>& polarity_fields() {
  static const auto fields =
      Fields<PolaritySettings>{"score",
                               "Way and size of the output's answer to a motion of the input from rest to rest"}
          .may("quiet", &PolaritySettings::quiet, duration(from_seconds(0.02), from_seconds(60.0)),
               "length at rest before the step and at its end, from which the levels are taken; 300 ms when not given");
  return fields;
}

// A change between two levels, each the mean of a stretch at rest.
struct Change {
  double before{0.0};  // level
  double value{0.0};
  double noise{0.0};     // standard uncertainty from the scatter of the samples
  double rounding{0.0};  // half-width: levels without noise enough to average the steps of the sensor away
  double least{0.0};     // smaller changes cannot be told from none
  std::string trouble;
};

double scatter_of(const std::vector<double>& y, double mean) {
  double squares = 0.0;
  for (const double v : y) squares += (v - mean) * (v - mean);
  return std::sqrt(squares / (static_cast<double>(y.size()) - 1.0));
}

// The scatter about the mean holds slow wander too. Samples that resemble their neighbours say less than as many that
// do not: with a correlation r from one to the next, n of them count as n (1 - r) / (1 + r) (Bayley and Hammersley
// 1946, of a first-order process; from memory).
double uncertainty_of_mean(const std::vector<double>& y, double mean) {
  const double scatter = scatter_of(y, mean);
  if (scatter == 0.0) return 0.0;
  double products = 0.0;
  for (std::size_t i = 1; i < y.size(); ++i) products += (y[i] - mean) * (y[i - 1] - mean);
  const auto n = static_cast<double>(y.size());
  const double alike = std::clamp(products / (scatter * scatter * (n - 1.0)), 0.0, 0.99);
  return scatter / std::sqrt(std::max(2.0, n * (1.0 - alike) / (1.0 + alike)));
}

Change change_of(const CaptureView& capture, SignalIndex signal, const Span& span, Duration quiet) {
  Change change;
  const auto& info = capture.signals()[signal];
  double levels[2]{}, squares = 0.0;
  const std::pair<BenchTime, BenchTime> stretches[] = {{span.from - quiet, span.from}, {span.to - quiet, span.to}};
  for (std::size_t end = 0; end < 2; ++end) {
    const auto points = capture.points(signal, stretches[end].first, stretches[end].second);
    std::vector<double> y;
    if (points)
      for (const auto& p : *points)
        if (!std::isnan(p.value)) y.push_back(p.value);
    if (y.size() < 3) {
      change.trouble = "'" + info.name + "' has " + std::to_string(y.size()) + " values in the stretch " +
                       (end == 0 ? "before the step" : "at the end of the step") + ": too few; lengthen 'quiet'";
      return change;
    }
    for (const double v : y) levels[end] += v / static_cast<double>(y.size());
    const double u = uncertainty_of_mean(y, levels[end]);
    squares += u * u;
    if (scatter_of(y, levels[end]) < 0.5 * info.resolution) change.rounding += 0.5 * info.resolution;
  }
  change.before = levels[0];
  change.value = levels[1] - levels[0];
  change.noise = std::sqrt(squares);
  change.least = std::max(4.0 * change.noise, 2.0 * info.resolution);
  return change;
}

bool moved(const Change& change) { return std::abs(change.value) > change.least; }

// 1: with the input, -1: against it, 0: not to be told from standing still.
double direction_of(const Change& in, const Change& out) {
  if (!moved(out)) return 0.0;
  return (in.value > 0.0) == (out.value > 0.0) ? 1.0 : -1.0;
}

Finding gain_of(const ScoreInput& input, const Frame& frame, const Change& in, const Change& out) {
  const auto& in_info = input.capture.signals()[input.signal("input")];
  const auto& out_info = input.capture.signals()[input.signal("output")];
  const double gain = out.value / in.value;
  std::vector<Contribution> budget{
      type_b("noise at rest, input", std::abs(gain / in.value) * in.noise),
      type_b("noise at rest, output", out.noise / std::abs(in.value)),
      rectangular("resolution", std::hypot(gain * in.rounding, out.rounding) / std::abs(in.value))};
  // A driven signal is what was asked for; it has no sensor.
  if (in_info.direction == Direction::read)
    for (const auto& line : calibration_budget(in_info, in.value, -gain / in.value)) budget.push_back(line);
  for (const auto& line : calibration_budget(out_info, out.value, 1.0 / in.value)) budget.push_back(line);
  return frame.measured("gain", finding_unit("output/input", in_info.unit, out_info.unit), gain, std::move(budget));
}

// The output between its levels, and the input laid over it by the gain.
Figure picture_of(const ScoreInput& input, const Span& span, Duration quiet, const Change& in, const Change& out,
                  const Finding& change) {
  const auto& signals = input.capture.signals();
  const auto& out_info = signals[input.signal("output")];
  Figure f{"Step '" + span.step + "': which way the output goes",
           "time in the step (s)",
           out_info.name + " (" + out_info.unit + ")",
           {},
           {{"level before", 'y', out.before, 0.0}}};
  add_mark(f, "level after", 'y', change, out.before);
  const double size = std::abs(out.value / in.value);  // of the gain: a reversed sign shows
  for (const auto& [role, name, level, scale] :
       {std::tuple{"input", signals[input.signal("input")].name + ", scaled", in.before, size},
        std::tuple{"output", out_info.name, out.before, 1.0}}) {
    const auto points = input.capture.points(input.signal(role), span.from - quiet, span.to);
    if (!points) continue;
    std::vector<double> x, y;
    for (const auto& p : *points) {
      x.push_back(seconds(p.when - span.from));
      y.push_back(out.before + scale * (p.value - level));
    }
    f.curves.push_back(thinned(name, x, y));
  }
  return f;
}

void score_span(const ScoreInput& input, const Frame& frame, const Span& span, Duration quiet, ScoreResult& result) {
  const auto& in_info = input.capture.signals()[input.signal("input")];
  const auto& out_info = input.capture.signals()[input.signal("output")];
  const auto gain_unit = finding_unit("output/input", in_info.unit, out_info.unit);
  const auto refuse = [&](const std::string& why) {
    result.findings.push_back(frame.missing("direction", "1", why));
    result.findings.push_back(frame.missing("change", out_info.unit, why));
    result.findings.push_back(frame.missing("gain", gain_unit, why));
  };
  const auto in = change_of(input.capture, input.signal("input"), span, quiet);
  const auto out = change_of(input.capture, input.signal("output"), span, quiet);
  if (!in.trouble.empty()) return refuse(in.trouble);
  if (!out.trouble.empty()) return refuse(out.trouble);
  if (!moved(in))
    return refuse("no motion: '" + in_info.name + "' changed by " + with_unit(in.value, in_info.unit) +
                  ", which its noise and resolution can make");
  result.findings.push_back(frame.exact("direction", "1", direction_of(in, out)));
  result.findings.push_back(
      frame.measured("change", out_info.unit, out.value,
                     {type_b("noise at rest", out.noise), rectangular("resolution", out.rounding)}));
  // One picture a step is enough to see.
  if (span.cycle == 0) result.figures.push_back(picture_of(input, span, quiet, in, out, result.findings.back()));
  result.findings.push_back(gain_of(input, frame, in, out));
}

ScoreResult run_polarity(const ScoreInput& input) {
  const auto& settings = std::any_cast<const PolaritySettings&>(input.settings);
  ScoreResult result;
  for (const auto& span : input.spans) {
    auto frame = pair_frame(input, "polarity", span.step);
    if (span.cycle > 0) frame.conditions.emplace_back("cycle", std::to_string(span.cycle + 1));
    score_span(input, frame, span, settings.quiet, result);
  }
  const auto& infos = input.capture.signals();
  const auto &in_unit = infos[input.signal("input")].unit, &out_unit = infos[input.signal("output")].unit;
  if (input.spans.empty())
    for (const auto& kind : polarity_score().entry.findings)
      result.findings.push_back(
          pair_frame(input, "polarity", "")
              .missing(kind.name, finding_unit(kind.unit, in_unit, out_unit), "no complete step to score", false));
  return result;
}

}  // namespace

ScoreKind polarity_score() {
  ScoreKind score;
  score.entry.settings = kind("polarity", polarity_fields);
  score.entry.roles = {{"input", "the signal that is moved"}, {"output", "the signal that should follow"}};
  score.entry.findings = {
      {"direction", "1", "1: the output went the way of the input; -1: the other way; 0: it did not follow"},
      {"change", "output", "change of the output between its levels at rest"},
      {"gain", "output/input", "change of the output over that of the input, signed"}};
  score.run = run_polarity;
  return score;
}

}  // namespace trackrod
