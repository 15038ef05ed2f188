// The score `ratio`: how much of the input makes how much of the output, over the input's range, step by step.
// docs/scores/ratio.md.

#include <algorithm>
#include <cmath>

#include "harness/score/declared_ratio.hpp"
#include "harness/score/figure.hpp"
#include "harness/score/findings.hpp"
#include "harness/score/ratio_extreme.hpp"
#include "harness/score/ratio_map.hpp"
#include "harness/score/scores.hpp"
#include "harness/score/scoring.hpp"
#include "harness/score/speed_change.hpp"

namespace trackrod {
namespace {

struct RatioSettings {
  int stretches{9};
  double reach{80.0};  // % of the sweep
  Duration settle{from_seconds(0.1)};
  std::vector<DeclaredPoint> declared;
  double held{0.5};
  Duration rate_window{from_seconds(0.1)};
};

const Fields<RatioSettings>& ratio_fields() {
  static const auto fields =
      Fields<RatioSettings>{"score",
                            "Ratio of input to output over stretches of the input, from slow sweeps to and fro"}
          .may("stretches", &RatioSettings::stretches, integer<int>(3, 51),
               "number of stretches of equal length that the map has; 9 when not given")
          .may("reach", &RatioSettings::reach, quantity("%", 10.0, 95.0),
               "part of the sweep, about its middle, that the map covers; 80 % when not given")
          .may("settle", &RatioSettings::settle, duration(Duration{0}, from_seconds(10.0)),
               "time after a reversal whose samples are left out; 100 ms when not given")
          .may("declared", &RatioSettings::declared, list(object(declared_fields), 1, 1000),
               "the map that the ratio should have, straight lines between its points, level beyond")
          .may("held", &RatioSettings::held, number(0.0, 1e6),
               "with a signal for 'speed', a step whose input moves by no more, in its unit, is one in which the speed "
               "changes and has no map; 0.5 when not given")
          .may("rate_window", &RatioSettings::rate_window, duration(from_seconds(0.005), from_seconds(10.0)),
               "over which 'speed_rate' is taken; 100 ms when not given");
  return fields;
}

class StepRatio {
 public:
  StepRatio(const ScoreInput& input, const std::string& step, const std::vector<Span>& spans);
  void add_to(ScoreResult& result);
  const std::string& trouble() const { return map_.trouble; }

 private:
  std::vector<double> knot_positions() const;
  Finding missing(const std::string& name, const std::string& why) const;
  Finding over(const std::string& name, std::size_t first, std::size_t last) const;
  Finding extreme(const std::string& name, const OfRatios& statistic, bool as_percent) const;
  Finding unevenness() const;
  Finding departure() const;
  Figure figure() const;
  std::string unit_of(const std::string& name) const;

  const RatioSettings& settings_;
  const SignalInfo &in_, &out_;
  std::size_t tried_;
  std::vector<DeclaredPoint> declared_;  // in order of position
  Frame frame_;
  SweepSet set_;
  RatioMap map_;
};

StepRatio::StepRatio(const ScoreInput& input, const std::string& step, const std::vector<Span>& spans)
    : settings_{std::any_cast<const RatioSettings&>(input.settings)},
      in_{input.capture.signals()[input.signal("input")]},
      out_{input.capture.signals()[input.signal("output")]},
      tried_{spans.size()},
      declared_{settings_.declared},
      frame_{pair_frame(input, "ratio", step)},
      set_{sort_sweeps({input.capture, spans, input.signals, input.settings})},
      map_{read_ratio_map(set_, knot_positions(), seconds(settings_.settle), in_, out_)} {
  std::sort(declared_.begin(), declared_.end(),
            [](const DeclaredPoint& a, const DeclaredPoint& b) { return a.at < b.at; });
  if (map_.trouble.empty()) frame_.conditions.emplace_back("rate", with_unit(map_.rate, in_.unit + "/s"));
}

std::vector<double> StepRatio::knot_positions() const {
  const double middle = 0.5 * (set_.low + set_.high), reach = 0.01 * settings_.reach * (set_.high - set_.low);
  std::vector<double> positions;
  for (int k = 0; k <= settings_.stretches; ++k)
    positions.push_back(middle + reach * (static_cast<double>(k) / settings_.stretches - 0.5));
  return positions;
}

std::string StepRatio::unit_of(const std::string& name) const {
  for (const auto& kind : ratio_score().entry.findings)
    if (kind.name == name) return finding_unit(kind.unit, in_.unit, out_.unit);
  return "1";
}

Finding StepRatio::missing(const std::string& name, const std::string& why) const {
  return frame_.missing(name, unit_of(name), why, tried_ > 0);
}

Finding StepRatio::over(const std::string& name, std::size_t first, std::size_t last) const {
  const auto between = map_.between(first, last);
  if (!between.moved)
    return missing(name, "the output does not follow the input over this stretch, as far as its noise can tell");
  auto frame = frame_;
  frame.conditions.emplace_back("from", with_unit(map_.knots[first].position, in_.unit));
  frame.conditions.emplace_back("to", with_unit(map_.knots[last].position, in_.unit));
  return frame.measured(name, unit_of(name), between.ratio, map_.budget(first, last, in_, out_));
}

Finding StepRatio::extreme(const std::string& name, const OfRatios& statistic, bool as_percent) const {
  const auto ratios = ratios_of(map_);
  const auto found = statistic(ratios);
  const double bias = bias_of(map_, statistic, found.value);
  auto budget = map_.budget(found.stretch, found.stretch + 1, in_, out_);
  if (as_percent)
    for (auto& line : budget) line.standard_uncertainty *= 100.0 / std::abs(ratios[found.stretch]);
  budget.push_back(type_b("choice of the extreme", 0.5 * std::abs(bias)));
  auto frame = frame_;
  frame.conditions.emplace_back("position", with_unit(map_.at(found.stretch), in_.unit));
  auto finding = frame.measured(name, unit_of(name), found.value - bias, std::move(budget));
  if (as_percent && finding.value) {  // a size: never below nothing
    finding.value = std::max(0.0, *finding.value);
    finding.interval = {std::max(0.0, (*finding.interval)[0]), std::max(0.0, (*finding.interval)[1])};
  }
  return finding;
}

// Neighbours share a knot, and the calibration of the sensors is common to both.
Finding StepRatio::unevenness() const {
  const OfRatios statistic = [](const std::vector<double>& ratios) {
    Extreme most{-1.0, 0};
    for (std::size_t k = 0; k + 1 < ratios.size(); ++k) {
      const double change = 200.0 * std::abs((ratios[k + 1] - ratios[k]) / (ratios[k + 1] + ratios[k]));
      if (change > most.value) most = {change, k};
    }
    return most;
  };
  const auto ratios = ratios_of(map_);
  const auto found = statistic(ratios);
  const double bias = bias_of(map_, statistic, found.value);
  const auto k = found.stretch;
  // d(change)/d(reading): the outer knots enter once, the shared one twice.
  const double per_output = 100.0 / std::abs(map_.knots[k + 1].mean - map_.knots[k].mean);
  std::vector<Contribution> budget;
  for (const auto& [knot, weight] : {std::pair{k, 1.0}, {k + 1, 2.0}, {k + 2, 1.0}})
    budget.push_back(type_b("reading at " + with_unit(map_.knots[knot].position, in_.unit),
                            weight * per_output * 0.5 * map_.knots[knot].u));
  budget.push_back(type_b("choice of the extreme", 0.5 * std::abs(bias)));
  auto frame = frame_;
  frame.conditions.emplace_back("position", with_unit(map_.knots[k + 1].position, in_.unit));
  auto finding = frame.measured("unevenness", "%", std::max(0.0, found.value - bias), std::move(budget));
  if (finding.interval) (*finding.interval)[0] = std::max(0.0, (*finding.interval)[0]);
  return finding;
}

Finding StepRatio::departure() const {
  if (declared_.empty()) return missing("departure", "no \"declared\" map in the plan");
  std::vector<double> declared;
  for (std::size_t k = 0; k < map_.stretches(); ++k)
    declared.push_back(declared_over(declared_, map_.knots[k].position, map_.knots[k + 1].position));
  return extreme(
      "departure",
      [&](const std::vector<double>& ratios) {
        Extreme most{-1.0, 0};
        for (std::size_t k = 0; k < ratios.size(); ++k)
          if (const double d = 100.0 * std::abs(ratios[k] / declared[k] - 1.0); d > most.value) most = {d, k};
        return most;
      },
      true);
}

Figure StepRatio::figure() const {
  Figure f{"Ratio over the input, " + frame_.step,
           in_.name + " (" + in_.unit + ")",
           "ratio (" + unit_of("centre") + ")",
           {},
           {}};
  Curve measured, declared;
  measured.label = "measured, each over its stretch";
  declared.label = "declared";
  for (std::size_t k = 0; k < map_.stretches(); ++k) {
    const auto ratio = over("centre", k, k + 1);  // read as the one at the centre is
    for (const double x : {map_.knots[k].position, map_.knots[k + 1].position}) {
      add_finding(measured, x, ratio);
      if (declared_.empty()) continue;
      declared.x.push_back(x);
      declared.y.push_back(declared_at(declared_, x));
    }
  }
  f.curves = {measured};
  if (!declared.x.empty()) f.curves.push_back(declared);
  return f;
}

void StepRatio::add_to(ScoreResult& result) {
  auto& findings = result.findings;
  if (!map_.trouble.empty()) {
    for (const auto& kind : ratio_score().entry.findings)
      if (!kind.name.starts_with("speed_")) findings.push_back(missing(kind.name, map_.trouble));
    return;
  }
  const auto count = map_.stretches();  // when even, the two at the middle count as one
  findings.push_back(over("centre", (count - 1) / 2, count / 2 + 1));
  findings.push_back(over("overall", 0, count));
  std::size_t still = 0;
  for (std::size_t k = 0; k < count; ++k) still += map_.between(k, k + 1).moved ? 0 : 1;
  if (still == 0) {
    const auto least = [](const std::vector<double>& ratios) {
      const auto at =
          std::min_element(ratios.begin(), ratios.end(), [](double a, double b) { return std::abs(a) < std::abs(b); });
      return Extreme{*at, static_cast<std::size_t>(at - ratios.begin())};
    };
    const auto greatest = [](const std::vector<double>& ratios) {
      const auto at =
          std::max_element(ratios.begin(), ratios.end(), [](double a, double b) { return std::abs(a) < std::abs(b); });
      return Extreme{*at, static_cast<std::size_t>(at - ratios.begin())};
    };
    findings.push_back(extreme("least", least, false));
    findings.push_back(extreme("greatest", greatest, false));
    findings.push_back(unevenness());
    findings.push_back(departure());
  } else {
    for (const auto* name : {"least", "greatest", "unevenness", "departure"})
      findings.push_back(missing(name, "over " + std::to_string(still) + " of " + std::to_string(count) +
                                           " stretches the output does not follow the input, so there is no ratio"));
  }
  findings.push_back(frame_.exact("not_following", "1", static_cast<double>(still)));
  result.figures.push_back(figure());
}

// A step has a map, or a change of the speed under a held input.
ScoreResult run_ratio(const ScoreInput& input) {
  const auto& settings = std::any_cast<const RatioSettings&>(input.settings);
  const SpeedChangeRule rule{settings.held, seconds(settings.rate_window)};
  const bool with_speed = input.signal("speed") < input.capture.signals().size();
  ScoreResult result;
  std::vector<Span> in_motion;
  std::string trouble;
  bool changed = false;
  const auto add_map = [&](const std::string& step, const std::vector<Span>& spans) {
    StepRatio map{input, step, spans};
    map.add_to(result);
    trouble = map.trouble();
  };
  const auto add_change = [&](const std::string& step, const std::vector<Span>& spans) {
    auto change = score_speed_change(input, spans, pair_frame(input, "ratio", step), rule);
    std::move(change.findings.begin(), change.findings.end(), std::back_inserter(result.findings));
    std::move(change.figures.begin(), change.figures.end(), std::back_inserter(result.figures));
  };
  for (const auto& [step, spans] : by_step(input.spans)) {
    if (with_speed && input_is_held(input, spans, rule.held)) {
      add_change(step, spans);
      changed = true;
      continue;
    }
    add_map(step, spans);
    in_motion.insert(in_motion.end(), spans.begin(), spans.end());
  }
  if (input.spans.empty()) add_map("", {});
  if (changed) return result;
  const auto frame = pair_frame(input, "ratio", step_names(in_motion));
  if (!with_speed && !trouble.empty()) {
    const auto& out = input.capture.signals()[input.signal("output")];
    for (const auto& [name, unit] : {std::pair{"speed_motion", out.unit}, {"speed_rate", out.unit + "/s"}})
      result.findings.push_back(frame.missing(name, unit, trouble, !in_motion.empty()));
    return result;
  }
  add_change(step_names(in_motion), in_motion);
  return result;
}

}  // namespace

ScoreKind ratio_score() {
  ScoreKind score;
  score.entry.settings = kind("ratio", ratio_fields);
  score.entry.roles = {
      {"input", "what is swept to and fro, such as the bench's angle sensor at the hand wheel"},
      {"output", "what follows, such as the bench's angle sensor at the road wheel"},
      {"speed", "of the vehicle, where it changes in a step while the input is held", ScoreRole::Need::optional}};
  score.entry.findings = {
      {"centre", "input/output", "input over output across the stretch about the middle of the sweep, signed"},
      {"overall", "input/output", "the same from one end of the map to the other"},
      {"least", "input/output", "the smallest of all stretches, and where: there the output moves most"},
      {"greatest", "input/output", "the largest of all stretches, and where"},
      {"unevenness", "%", "largest change from one stretch to the next, of their mean"},
      {"departure", "%", "largest departure of a stretch from the declared map; needs \"declared\""},
      {"not_following", "1", "number of stretches over which the output stands still or goes back: 0 when monotonic"},
      {"speed_motion", "output", "how far the output moves while the speed changes and the input is held; signed"},
      {"speed_rate", "output/s", "greatest rate at which it does"}};
  score.run = run_ratio;
  return score;
}

}  // namespace trackrod
