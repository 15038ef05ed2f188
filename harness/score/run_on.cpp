// The score `run_on`: how long and how far the output goes on when the input has stopped, and how far it is behind
// where the input passes the centre. docs/scores/run_on.md.

#include <algorithm>
#include <cmath>

#include "harness/score/figure.hpp"
#include "harness/score/findings.hpp"
#include "harness/score/line_fit.hpp"
#include "harness/score/rate_groups.hpp"
#include "harness/score/scores.hpp"
#include "harness/score/scoring.hpp"
#include "harness/score/step_cycle.hpp"
#include "harness/score/step_figure.hpp"
#include "harness/score/width_findings.hpp"

namespace trackrod {
namespace {

struct RunOnSettings {
  double band{2.0};  // %
  Duration quiet{from_seconds(0.1)};
  double centre{0.0};  // input unit
  Duration settle{from_seconds(0.1)};
};

const Fields<RunOnSettings>& run_on_fields() {
  static const auto fields =
      Fields<RunOnSettings>{"score", "How long and how far the output goes on after the input has stopped"}
          .may("band", &RunOnSettings::band, quantity("%", 0.1, 50.0),
               "at rest means: stays within this much of its own change around its new level; 2 % when not given")
          .may("quiet", &RunOnSettings::quiet, duration(from_seconds(0.01), from_seconds(60.0)),
               "length at rest at either end of the step from which its levels are taken; 100 ms when not given")
          .may("centre", &RunOnSettings::centre, number(-1e9, 1e9),
               "for 'centre_angle': the position that sweeps pass, a number in the input's unit; 0 when not given")
          .may("settle", &RunOnSettings::settle, duration(Duration{0}, from_seconds(10.0)),
               "for 'centre_angle': time after a reversal whose samples are left out; 100 ms when not given");
  return fields;
}

constexpr double ms = 1e3;
constexpr auto input_stops = "input stops";  // reading in ms after the input's 50 % instant, for the picture
constexpr double window = 0.04;              // of the sweep, to either side of the centre

// The output at an instant and its rate there, by a line through the seven samples about it.
struct Instant {
  double value{0.0}, noise{0.0}, rate{0.0};
};
std::optional<Instant> output_at(const Series& s, double t, double noise) {
  const std::size_t i = s.from(t);
  if (i < 3 || i + 4 > s.size()) return std::nullopt;
  std::vector<double> x, y;
  for (std::size_t k = i - 3; k < i + 4; ++k) x.push_back(s.t[k] - t), y.push_back(s.y[k]);
  if (x.back() - x.front() > 12.0 * s.interval) return std::nullopt;
  const auto line = fit_line(x, y, std::vector<double>(x.size(), 1.0));
  return Instant{line.intercept, noise * line.intercept_unit, line.slope};
}

class RunOn {
 public:
  explicit RunOn(const ScoreInput& input)
      : input_{input},
        settings_{std::any_cast<const RunOnSettings&>(input.settings)},
        in_{input.capture.signals()[input.signal("input")]},
        out_{input.capture.signals()[input.signal("output")]} {}
  ScoreResult run() const;

 private:
  StepCycle read_stop(const Span& span) const;
  void add_centre(ScoreResult& result) const;
  // Of one cycle, with what all cycles say marked.
  Figure draw(const std::string& step, const StepCycle& c, const Finding& time) const;
  std::string unit(const std::string& name) const;

  const ScoreInput& input_;
  const RunOnSettings& settings_;
  const SignalInfo &in_, &out_;
};

std::string RunOn::unit(const std::string& name) const {
  for (const auto& kind : run_on_score().entry.findings)
    if (kind.name == name) return finding_unit(kind.unit, in_.unit, out_.unit);
  return "1";
}

StepCycle RunOn::read_stop(const Span& span) const {
  auto c = read_step(input_, {settings_.band, settings_.quiet, {}}, span);
  if (!c.trouble.empty()) return c;
  c.readings.clear();
  const double latest = seconds(span.to - span.from) - 0.5 * seconds(settings_.quiet);
  const Transition in{c.input, c.in_first, c.in_last, in_.resolution};
  const Transition out{c.output, c.out_first, c.out_last, out_.resolution};
  const auto stopped = in.settling(0.01 * settings_.band, c.zero, latest);
  const auto still = out.settling(0.01 * settings_.band, c.zero, latest);
  auto &time = c.readings["time"], &angle = c.readings["angle"];
  auto& input_stopped = c.readings[input_stops];
  if (!stopped) {
    time.reason = angle.reason = "not settled: the input does not stay within " + with_unit(settings_.band, "%") +
                                 " of its change for the end of the step, or its noise fills that band";
    return c;
  }
  input_stopped.value = ms * (stopped->t - c.zero);
  const auto shift = time_shift_budget(in_, out_, c.input.stamp_half_width, c.output.stamp_half_width);
  if (!still) {
    time.reason = "not settled: the output does not stay within " + with_unit(settings_.band, "%") +
                  " of its change for the end of the step, or its noise fills that band";
  } else {
    time.value = ms * (still->t - stopped->t);
    time.common = shift;
    time.hull = {{ms * (still->earliest - stopped->latest), ms * (still->latest - stopped->earliest)}};
  }
  const auto there = output_at(c.output, stopped->t, c.out_last.noise);
  if (!there) {
    angle.reason = "samples of '" + out_.name + "' are missing where the input stops";
    return c;
  }
  const double way = std::copysign(1.0, out.change());
  angle.value = way * (c.out_last.value - there->value);
  angle.noise = std::hypot(there->noise, c.out_last.standard_uncertainty);
  angle.common = scaled(shift, 1e-3 * there->rate);
  angle.common.push_back(stopped->noise > 0.0
                             ? type_b("instant at which the input stops", stopped->noise * std::abs(there->rate))
                             : rectangular("instant at which the input stops",
                                           0.5 * (stopped->latest - stopped->earliest) * std::abs(there->rate)));
  angle.common.push_back(
      rectangular("resolution of the output", std::max(c.out_last.half_width, 0.5 * out_.resolution)));
  for (auto& line : calibration_budget(out_, *angle.value)) angle.common.push_back(line);
  return c;
}

// Half the gap between the two directions where the input passes the centre; one for each rate.
void RunOn::add_centre(ScoreResult& result) const {
  const auto frame = pair_frame(input_, "run_on", step_names(input_.spans));
  auto set = sort_sweeps(input_);
  const ReadingRule rule{window * (set.high - set.low), seconds(settings_.settle), in_.resolution, out_.resolution};
  Figure figure{"How far the output is behind as the input passes the centre",
                "rate of " + in_.name + " (" + in_.unit + "/s)",
                "behind (" + out_.unit + ")",
                {{"measured", {}, {}, Curve::Style::points}},
                {}};
  for (const auto& group : set.groups) {
    const auto gap = read_gap(group, settings_.centre, rule);
    if (!gap.known) continue;
    auto told = frame;
    told.conditions.emplace_back("rate", with_unit(gap.rate, in_.unit + "/s"));
    told.conditions.emplace_back(
        "passes", std::to_string(gap.rising.count) + " rising, " + std::to_string(gap.falling.count) + " falling");
    std::vector<Contribution> budget;
    for (const auto& [side, name] : {std::pair{&gap.rising, "rising"}, std::pair{&gap.falling, "falling"}})
      for (auto line : side->budget) {
        line.name += std::string{", "} + name;
        budget.push_back(std::move(line));
      }
    budget.push_back(rectangular("resolution", gap.half_width));
    budget = scaled(std::move(budget), 0.5);
    const double behind = 0.5 * gap.width;
    budget.push_back(
        type_b("calibration of '" + out_.name + "'", out_.calibration.gain_uncertainty * std::abs(behind)));
    const auto& sweep = set.sweeps.front();
    for (auto& line :
         scaled(time_shift_budget(in_, out_, sweep.in_half_width, sweep.out_half_width), 1e-3 * gap.rate * gap.slope))
      budget.push_back(line);
    result.findings.push_back(told.measured("centre_angle", out_.unit, behind, std::move(budget)));
    add_finding(figure.curves[0], gap.rate, result.findings.back());
  }
  if (!figure.curves[0].x.empty())
    result.figures.push_back(std::move(figure));
  else
    result.findings.push_back(frame.missing("centre_angle", out_.unit,
                                            "no sweep of these steps passes the centre in both directions, long enough "
                                            "after its reversal",
                                            !input_.spans.empty()));
}

Figure RunOn::draw(const std::string& step, const StepCycle& c, const Finding& time) const {
  const auto& stopped = c.readings.at(input_stops).value;
  const double end = stopped ? *stopped + time.value.value_or(0.0) : INFINITY;
  auto figure =
      step_figure("Step '" + step + "': what the output still has to go", c, in_, out_, 2.0 * std::max(50.0, end));
  if (stopped) {
    figure.marks.push_back({"input stopped", 'x', *stopped, 0.0});
    add_mark(figure, "output stopped", 'x', time, *stopped);
  }
  figure.marks.push_back({"new level, band", 'y', 1.0, 0.01 * settings_.band});
  return figure;
}

ScoreResult RunOn::run() const {
  ScoreResult result;
  if (input_.spans.empty()) {
    for (const auto& kind : run_on_score().entry.findings)
      result.findings.push_back(
          pair_frame(input_, "run_on", "").missing(kind.name, unit(kind.name), "no complete step to score", false));
    return result;
  }
  for (const auto& [step, spans] : by_step(input_.spans)) {
    std::vector<StepCycle> cycles;
    for (const auto& span : spans) cycles.push_back(read_stop(span));
    const auto frame = pair_frame(input_, "run_on", step);
    const auto time = mean_over_cycles(frame, "time", unit("time"), cycles);
    result.findings.push_back(time);
    result.findings.push_back(mean_over_cycles(frame, "angle", unit("angle"), cycles));
    const auto good = std::find_if(cycles.begin(), cycles.end(), [](const StepCycle& c) { return c.trouble.empty(); });
    if (good != cycles.end()) result.figures.push_back(draw(step, *good, time));
  }
  add_centre(result);
  return result;
}

}  // namespace

ScoreKind run_on_score() {
  ScoreKind score;
  score.entry.settings = kind("run_on", run_on_fields);
  score.entry.roles = {{"input", "what is moved and stopped, such as the bench's angle sensor at the hand wheel"},
                       {"output", "what goes on, such as the bench's angle sensor at the road wheel"}};
  score.entry.findings = {
      {"time", "ms", "from when the input stays within its band until the output does"},
      {"angle", "output", "how far the output still goes on its way when the input has come to rest"},
      {"centre_angle", "output",
       "how far the output is behind where a sweep passes the centre: half the gap of both directions; one for each "
       "rate"}};
  score.run = [](const ScoreInput& input) { return RunOn{input}.run(); };
  return score;
}

}  // namespace trackrod
