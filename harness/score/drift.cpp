// The score `drift`: one finding of another score, cycle by cycle: its trend, and whether it changed.
// docs/scores/drift.md.

#include <algorithm>
#include <cmath>
#include <map>

#include "harness/score/budget.hpp"
#include "harness/score/control_chart.hpp"
#include "harness/score/figure.hpp"
#include "harness/score/findings.hpp"
#include "harness/score/order_statistics.hpp"
#include "harness/score/scores.hpp"
#include "harness/score/scoring.hpp"
#include "harness/score/trend.hpp"

namespace trackrod {
namespace {

struct DriftSettings {
  Chosen of;            // score and its settings
  std::string finding;  // without the score's name in front
  std::int64_t baseline{20};
  double share{0.2};
  double slack{0.5};
  double run_length{500.0};
  std::vector<double> allowed;  // lower and upper, in the finding's unit
};

constexpr double confidence = 0.95;
constexpr std::size_t fewest_cycles = 8;

std::vector<KindEntry> scores_of_a_cycle() {
  std::vector<KindEntry> kinds;
  for (const auto& score : score_table())
    if (score.entry.settings.name != "drift" && !score.entry.roles.empty()) kinds.push_back(score.entry.settings);
  return kinds;
}

Shape<Chosen> score_shape() {
  return {[](const Node& n, Chosen& out, Problems& p) { return read_kind(n, "score", scores_of_a_cycle(), out, p); },
          [](SchemaBook& book) { return kinds_schema(book, "score", scores_of_a_cycle()); }};
}

const Fields<DriftSettings>& drift_fields() {
  static const auto fields =
      Fields<DriftSettings>{"score", "Trend of a finding over the cycles of its steps, and whether it changed"}
          .need("of", &DriftSettings::of, score_shape(), "the score that is run on each cycle, with its settings")
          .need("finding", &DriftSettings::finding, word(), "which of its findings, as in \"width_apparent\"")
          .may("baseline", &DriftSettings::baseline, whole_number(10, 1'000'000),
               "so many cycles from the start on are what the first one of the charts is compared with; 20 when not "
               "given")
          .may("share", &DriftSettings::share, number(0.01, 1.0),
               "weight of the newest cycle in the moving average; 0.2 when not given")
          .may("slack", &DriftSettings::slack, number(0.1, 3.0),
               "of the cumulative sums, in standard deviations: half the shift that they are to find; 0.5 when not "
               "given")
          .may("run_length", &DriftSettings::run_length, number(10.0, 1e5),
               "mean number of cycles to a false alarm, to which the limits of both charts are set; 500 when not given")
          .may("allowed", &DriftSettings::allowed, list(number(-1e12, 1e12), 2, 2),
               "lower and upper bound in the finding's unit within which a cycle counts as a success; for "
               "'reliability'");
  return fields;
}

// One finding over the cycles.
struct Course {
  std::vector<double> cycle, value, covariate;  // the first cycle is 1
  std::string unit;
  std::size_t left_out{0};
  std::string why;  // of the first one left out
};

// The mean over the spans; empty: no sample of it.
std::optional<double> mean_of(SignalIndex signal, const ScoreInput& input) {
  double sum = 0.0;
  std::size_t count = 0;
  for (const auto& span : input.spans) {
    const auto points = input.capture.points(signal, span.from, span.to);
    if (!points) continue;
    for (const auto& p : *points)
      if (std::isfinite(p.value)) sum += p.value, ++count;
  }
  if (count == 0) return {};
  return sum / static_cast<double>(count);
}

// Of the one cycle whose spans the input holds.
CycleValue value_of_cycle(const ScoreInput& input, std::uint32_t cycle) {
  const auto& settings = std::any_cast<const DriftSettings&>(input.settings);
  CycleValue out;
  out.cycle = cycle;
  const auto without = [&](const std::string& why) {
    out.why = why;
    out.good = false;
    return out;
  };
  const auto scored =
      run_score(settings.of.kind, ScoreInput{input.capture, input.spans, input.signals, settings.of.value});
  if (!scored) return without(scored.error().context);
  const auto name = settings.of.kind + "." + settings.finding;
  std::vector<const Finding*> found;
  for (const auto& f : scored->findings)
    if (f.name == name) found.push_back(&f);
  if (found.empty()) return without("the score '" + settings.of.kind + "' has no finding '" + settings.finding + "'");
  if (found.size() > 1)
    return without("a cycle has " + std::to_string(found.size()) + " findings '" + name +
                   "'; name the steps so that there is one");
  if (!found.front()->value) return without(found.front()->reason);
  if (const auto signal = input.signal("temperature"); signal != no_signal) {
    out.covariate = mean_of(signal, input);
    if (!out.covariate) return without("no temperature is known");
  }
  out.unit = found.front()->unit;
  out.value = found.front()->value;
  const auto& allowed = settings.allowed;
  out.good = allowed.size() != 2 || (*out.value >= allowed[0] && *out.value <= allowed[1]);
  return out;
}

class DriftScore {
 public:
  explicit DriftScore(const ScoreInput& input);
  ScoreResult run() const;

 private:
  void take(const CycleValue& cycle);
  bool tried() const { return !input_.spans.empty() || !input_.cycles.empty(); }
  Finding missing(const std::string& name, const std::string& why) const;
  Finding change(const TrendFit& trend, double mean, double deviation) const;
  void add_charts(const std::vector<double>& scores, ScoreResult& result) const;
  Finding outside() const;
  Finding reliability() const;
  double failures() const;
  Figure figure(const TrendFit& trend, const Finding& change, double mean, double deviation) const;

  const ScoreInput& input_;
  const DriftSettings& settings_;
  Frame frame_;
  Course course_;
};

DriftScore::DriftScore(const ScoreInput& input)
    : input_{input},
      settings_{std::any_cast<const DriftSettings&>(input.settings)},
      frame_{pair_frame(input, "drift", step_names(input.spans))} {
  std::map<std::uint32_t, CycleValue> cycles;
  for (const auto& known : input.cycles) cycles.emplace(known.cycle, known);
  std::map<std::uint32_t, std::vector<Span>> others;
  for (const auto& span : input.spans)
    if (!cycles.contains(span.cycle)) others[span.cycle].push_back(span);
  for (auto& [cycle, spans] : others)
    cycles.emplace(cycle, value_of_cycle({input.capture, std::move(spans), input.signals, input.settings}, cycle));
  for (const auto& [number, cycle] : cycles) take(cycle);
  frame_.conditions.emplace_back("of", settings_.of.kind + "." + settings_.finding);
  frame_.conditions.emplace_back("cycles", std::to_string(course_.value.size()));
  if (course_.left_out > 0)
    frame_.conditions.emplace_back("left_out", std::to_string(course_.left_out) + " cycles: " + course_.why);
}

void DriftScore::take(const CycleValue& cycle) {
  if (!cycle.value) {
    ++course_.left_out;
    if (course_.why.empty()) course_.why = cycle.why;
    return;
  }
  course_.unit = cycle.unit;
  course_.cycle.push_back(static_cast<double>(cycle.cycle) + 1.0);
  course_.value.push_back(*cycle.value);
  if (cycle.covariate) course_.covariate.push_back(*cycle.covariate);
}

Finding DriftScore::missing(const std::string& name, const std::string& why) const {
  for (const auto& kind : drift_score().entry.findings)
    if (kind.name == name) return frame_.missing(name, kind.unit, why, tried());
  return frame_.missing(name, "1", why, tried());
}

// In percent of the baseline's mean; what calibration does to all cycles alike goes out of it.
Finding DriftScore::change(const TrendFit& trend, double mean, double deviation) const {
  const double m = static_cast<double>(settings_.baseline), phi = std::clamp(trend.memory, 0.0, 0.95);
  const double mean_u = deviation * std::sqrt((1.0 + phi) / (1.0 - phi) / m);
  if (std::abs(mean) < 5.0 * mean_u)
    return missing("change", "the baseline's mean, " + with_unit(mean, course_.unit) +
                                 ", is not clear of nothing: a change in percent of it says nothing");
  const double percent = 100.0 / std::abs(mean);
  auto f = frame_.measured("change", "%", percent * trend.change,
                           {type_a("scatter about the trend, with its memory", percent * trend.standard_uncertainty,
                                   trend.degrees_of_freedom),
                            type_a("baseline", percent * trend.change * mean_u / mean, m - 1.0)});
  // That of the mixture, which is wider in its tails than one Student's distribution.
  const double more = percent * std::abs(trend.change) * mean_u / std::abs(mean) * 1.96;
  const double low = percent * (trend.change - trend.interval[0]), high = percent * (trend.interval[1] - trend.change);
  f.interval = {{*f.value - std::hypot(low, more), *f.value + std::hypot(high, more)}};
  f.conditions.emplace_back("baseline_mean", with_unit(mean, course_.unit, 5));
  f.conditions.emplace_back("change_in_unit", with_unit(trend.change, course_.unit, 4));
  f.conditions.emplace_back("memory", with_unit(trend.memory, "of a cycle to the next", 2));
  if (!course_.covariate.empty())
    f.conditions.emplace_back("with_temperature", with_unit(trend.per_covariate, course_.unit + " per unit of it", 4));
  return f;
}

// `scores`: each cycle after the baseline as a standard normal value.
void DriftScore::add_charts(const std::vector<double>& scores, ScoreResult& result) const {
  const double width =
      ewma_width_for(settings_.run_length, settings_.share) * std::sqrt(settings_.share / (2.0 - settings_.share));
  const double limit = cusum_limit_for(settings_.run_length, settings_.slack);
  const auto z = ewma(scores, 0.0, settings_.share);
  const auto sums = cusum(scores, 0.0, settings_.slack);
  const auto add = [&](const std::string& name, double bound, const auto& beyond) {
    double alarms = 0.0;
    std::string first = "none";
    for (std::size_t i = 0; i < scores.size(); ++i)
      if (beyond(i)) {
        if (alarms++ == 0.0)
          first = "cycle " + with_unit(course_.cycle[course_.cycle.size() - scores.size() + i], "", 8);
      }
    auto f = frame_.exact(name, "1", alarms);
    f.conditions.emplace_back("first", first);
    f.conditions.emplace_back("limit", with_unit(bound, "standard deviations", 4));
    f.conditions.emplace_back("mean_run_to_a_false_alarm", with_unit(settings_.run_length, "cycles"));
    result.findings.push_back(std::move(f));
  };
  add("ewma_alarms", width, [&](std::size_t i) { return std::abs(z[i]) > width; });
  add("cusum_alarms", limit, [&](std::size_t i) { return std::max(sums.high[i], sums.low[i]) > limit; });
  const std::vector<double> cycles{course_.cycle.end() - static_cast<std::ptrdiff_t>(scores.size()),
                                   course_.cycle.end()};
  Figure charts{"Charts of " + settings_.of.kind + "." + settings_.finding,
                "cycle",
                "standard deviations",
                {thinned("moving average", cycles, z), thinned("sum upward", cycles, sums.high),
                 thinned("sum downward", cycles, sums.low)},
                {{"average, its bounds", 'y', 0.0, width}, {"sums, their bound", 'y', limit, 0.0}}};
  result.figures.push_back(std::move(charts));
}

double DriftScore::failures() const {
  return static_cast<double>(std::ranges::count_if(
      course_.value, [&](double v) { return v < settings_.allowed[0] || v > settings_.allowed[1]; }));
}

Finding DriftScore::outside() const {
  if (settings_.allowed.size() != 2) return missing("outside", "no 'allowed' is given");
  return frame_.exact("outside", "1", failures());
}

// The lower bound of Clopper and Pearson; without a failure it is (1 - C)^(1/n), the success-run formula.
Finding DriftScore::reliability() const {
  if (settings_.allowed.size() != 2) return missing("reliability", "no 'allowed' is given");
  if (course_.left_out > 0)
    return missing("reliability",
                   std::to_string(course_.left_out) + " cycles have no value, and may be failures: " + course_.why);
  const auto n = static_cast<double>(course_.value.size());
  const double good = n - failures();
  const double bound = least_proportion(static_cast<std::size_t>(good), course_.value.size(), confidence);
  auto f = frame_.exact("reliability", "1", bound);
  f.conditions.emplace_back("outside", with_unit(n - good, "of " + std::to_string(course_.value.size()) + " cycles"));
  f.conditions.emplace_back("confidence", "95 %, one-sided");
  f.conditions.emplace_back("assumption", "cycles of one unit as independent trials; says nothing of other units");
  return f;
}

Figure DriftScore::figure(const TrendFit& trend, const Finding& change, double mean, double deviation) const {
  Figure f{"Drift of " + settings_.of.kind + "." + settings_.finding,
           "cycle",
           settings_.finding + " (" + course_.unit + ")",
           {thinned("cycles", course_.cycle, course_.value)},
           {{"baseline, 3 deviations", 'y', mean, 3.0 * deviation}}};
  f.curves.front().style = Curve::Style::points;
  const double first = course_.cycle.front(), last = course_.cycle.back();
  Curve line{"trend, and its change from the first cycle on", {first, last}, {trend.at_first, 0.0}};
  line.y[1] = trend.at_first + trend.change;
  if (change.interval) {
    const double percent = 0.01 * std::abs(mean);
    line.low = {trend.at_first, trend.at_first + percent * (*change.interval)[0]};
    line.high = {trend.at_first, trend.at_first + percent * (*change.interval)[1]};
  }
  f.curves.push_back(std::move(line));
  return f;
}

ScoreResult DriftScore::run() const {
  ScoreResult result;
  const auto refuse = [&](const std::string& why) {
    for (const auto& kind : drift_score().entry.findings) result.findings.push_back(missing(kind.name, why));
    return result;
  };
  const std::size_t n = course_.value.size();
  if (!tried()) return refuse("no complete step to score");
  if (n < fewest_cycles)
    return refuse("needs " + std::to_string(fewest_cycles) + " cycles or more with a value; found " +
                  std::to_string(n) + (course_.why.empty() ? "" : ": " + course_.why));
  if (const auto [least, most] = std::minmax_element(course_.value.begin(), course_.value.end()); *least == *most)
    return refuse("all cycles give the same value, to the last digit: nothing was measured anew");
  const auto trend = fit_trend(course_.cycle, course_.value, course_.covariate);
  // The charts compare with the baseline; what the temperature does is taken out first.
  auto level = course_.value;
  for (std::size_t i = 0; i < course_.covariate.size(); ++i)
    level[i] -= trend.per_covariate * (course_.covariate[i] - course_.covariate.front());
  const std::size_t base = std::min(n, static_cast<std::size_t>(settings_.baseline));
  double mean = 0.0, squares = 0.0;
  for (std::size_t i = 0; i < base; ++i) mean += level[i] / static_cast<double>(base);
  for (std::size_t i = 0; i < base; ++i) squares += std::pow(level[i] - mean, 2);
  const double deviation = std::sqrt(squares / static_cast<double>(base - 1));
  result.findings.push_back(change(trend, mean, deviation));
  if (n < base + 5 || base < static_cast<std::size_t>(settings_.baseline)) {
    for (const auto* name : {"ewma_alarms", "cusum_alarms"})
      result.findings.push_back(
          missing(name, "needs five cycles or more after the baseline of " + std::to_string(settings_.baseline)));
  } else {
    for (auto& v : level) v -= mean;
    const auto fresh = without_memory(course_.cycle, level, std::max(0.0, trend.memory));
    add_charts(against_all_before(fresh, base), result);
  }
  result.findings.push_back(outside());
  result.findings.push_back(reliability());
  result.figures.insert(result.figures.begin(),
                        figure(trend, finding_named(result.findings, "drift.change"), mean, deviation));
  return result;
}

}  // namespace

ScoreKind drift_score() {
  ScoreKind score;
  score.entry.settings = kind("drift", drift_fields);
  score.entry.roles = {{"input", "as in the score that is followed"},
                       {"output", "as in the score that is followed"},
                       {"temperature", "what also moves the finding and is taken out, such as a motor's temperature",
                        ScoreRole::Need::optional}};
  score.entry.findings = {
      {"change", "%", "of the trend from the first cycle to the last, of the baseline's mean"},
      {"ewma_alarms", "1", "cycles at which the moving average is beyond its limits"},
      {"cusum_alarms", "1", "cycles at which a cumulative sum is beyond its limit"},
      {"outside", "1", "cycles whose value is outside 'allowed'"},
      {"reliability", "1", "share of cycles within 'allowed' that is demonstrated with 95 % confidence"}};
  score.run = [](const ScoreInput& input) { return DriftScore{input}.run(); };
  score.entry.by_cycle = true;
  score.of_cycle = value_of_cycle;
  return score;
}

}  // namespace trackrod
