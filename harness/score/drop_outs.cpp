#include "harness/score/drop_outs.hpp"

#include <algorithm>
#include <boost/math/distributions/normal.hpp>
#include <cmath>

#include "harness/score/findings.hpp"
#include "harness/score/series.hpp"

namespace trackrod {
namespace {

constexpr double reach = 4.0;  // standard deviations above the lowest sample, from where noise may have made it that

// Linear between samples; with the slope there.
struct Voltage {
  double value{0.0}, slope{0.0};
};
Voltage voltage_at(const Series& volts, double t) {
  const std::size_t i = std::clamp<std::size_t>(volts.from(t), 1, volts.size() - 1);
  const double dt = volts.t[i] - volts.t[i - 1];
  return {volts.at(t), dt > 0.0 ? (volts.y[i] - volts.y[i - 1]) / dt : 0.0};
}

Between crossing(const Series& volts, std::size_t i, double level) {
  const double dt = volts.t[i] - volts.t[i - 1];
  const double part = std::clamp((level - volts.y[i - 1]) / (volts.y[i] - volts.y[i - 1]), 0.0, 1.0);
  // Between two samples the voltage may have gone another way than straight.
  return {volts.t[i - 1] + part * dt, 0.5 * dt + volts.stamp_half_width};
}

// Expected greatest of n draws of a normal distribution (Blom 1958, from memory).
double expected_greatest(std::size_t n) {
  const double count = static_cast<double>(n);
  return n < 2 ? 0.0 : boost::math::quantile(boost::math::normal{}, (count - 0.375) / (count + 0.25));
}

void read_lowest(const Series& volts, DropOut& drop) {
  const std::size_t first = volts.from(drop.begin.t), end = volts.from(drop.end.t);
  std::size_t at = first;
  for (std::size_t i = first; i < end; ++i)
    if (volts.y[i] < volts.y[at]) at = i;
  drop.lowest = volts.y[at];
  std::size_t rivals = 0;
  for (std::size_t i = first; i < end; ++i) rivals += volts.y[i] <= drop.lowest + reach * volts.noise ? 1 : 0;
  drop.lowest_noise = volts.noise * expected_greatest(rivals);
  if (at > 0 && at + 1 < volts.size())
    drop.lowest_between = 0.5 * (std::min(volts.y[at - 1], volts.y[at + 1]) - volts.y[at]);
}

}  // namespace

std::vector<WorksChange> works_changes(const std::vector<Point>& points, const DropOutRule& rule, BenchTime origin) {
  std::vector<WorksChange> changes;
  std::vector<double> steps{seconds(rule.silent)};
  for (std::size_t i = 1; i < points.size(); ++i) steps.push_back(seconds(points[i].when - points[i - 1].when));
  const double interval = median_of(steps);
  const auto works = [&](double v) { return std::isfinite(v) && v >= rule.low && v <= rule.high; };
  const auto to = [&](BenchTime when) { return seconds(when - origin); };
  for (std::size_t i = 0; i < points.size(); ++i) {
    const bool now = works(points[i].value);
    if (i == 0) {
      changes.push_back({{to(points[i].when), 0.0}, now});
      continue;
    }
    const double before = to(points[i - 1].when), here = to(points[i].when);
    // Silence: it stopped working at the earliest just after its last sample.
    if (here - before > seconds(rule.silent) && changes.back().works)
      changes.push_back({{before + 0.5 * seconds(rule.silent), 0.5 * seconds(rule.silent)}, false});
    // After silence the first sample comes when it works again, one interval late at the most.
    const double half = 0.5 * std::min(here - before, here - before > seconds(rule.silent) ? interval : here - before);
    if (now != changes.back().works) changes.push_back({{here - half, half}, now});
  }
  return changes;
}

DropOuts drop_outs_of(const ScoreInput& input, const Span& span, const DropOutRule& rule) {
  DropOuts out;
  const auto volts = read_series(input.capture, input.signal("input"), span.from, span.to, span.from);
  if (!volts.trouble.empty()) return {{}, volts.trouble};
  const auto points = input.capture.points(input.signal("output"), span.from, span.to);
  const auto& name = input.capture.signals()[input.signal("output")].name;
  if (!points || points->empty()) return {{}, "'" + name + "' has no samples"};
  const auto changes = works_changes(*points, rule, span.from);
  const double last_sample = seconds(points->back().when - span.from);

  for (std::size_t i = 1; i < volts.size(); ++i) {
    const bool falls = volts.y[i - 1] >= rule.below && volts.y[i] < rule.below;
    const bool rises = volts.y[i - 1] < rule.below && volts.y[i] >= rule.below;
    if (falls) {
      auto& drop = out.found.emplace_back();
      drop.begin = crossing(volts, i, rule.below);
      drop.end = {volts.t.back(), 0.0};
      drop.noise = volts.noise;
      drop.stamp_half_width = volts.stamp_half_width;
    }
    if (out.found.empty()) continue;
    if (rises) out.found.back().end = crossing(volts, i, rule.below);
  }
  if (out.found.empty()) {
    const auto least = std::min_element(volts.y.begin(), volts.y.end());
    return {{}, "no drop-out: the voltage stays at " + with_unit(*least, "V") + " and more"};
  }
  if (out.found.back().end.t >= volts.t.back() && volts.y.back() < rule.below) out.found.pop_back();  // is not over yet
  for (std::size_t k = 0; k < out.found.size(); ++k) {
    auto& drop = out.found[k];
    read_lowest(volts, drop);
    const double next = k + 1 < out.found.size() ? out.found[k + 1].begin.t : last_sample + 1e-9;
    bool worked = false;
    for (const auto& change : changes) {
      // What may have come in the drop-out did: a unit that stops at once stops between two samples about its
      // beginning.
      if (change.when.latest() <= drop.begin.t) {
        worked = change.works;
        continue;
      }
      if (change.when.latest() > next) break;
      if (!change.works && !drop.lost) drop.lost = true, drop.lost_at = change.when;
      drop.back_at = change.works ? std::optional{change.when} : std::nullopt;
    }
    // Silent to the end: no change tells of it.
    if (!drop.lost && seconds(span.to - span.from) - last_sample > seconds(rule.silent) && last_sample < next &&
        last_sample >= drop.begin.t) {
      drop.lost = true;
      drop.lost_at = {last_sample + 0.5 * seconds(rule.silent), 0.5 * seconds(rule.silent)};
    }
    if (!worked) {
      out.trouble = "the unit did not work before a drop-out";
      out.found.erase(out.found.begin() + static_cast<std::ptrdiff_t>(k--));
      continue;
    }
    if (!drop.lost) continue;
    const auto lost = voltage_at(volts, drop.lost_at.t);
    drop.volts_lost = lost.value, drop.slope_lost = lost.slope;
    if (!drop.back_at) continue;
    const auto back = voltage_at(volts, drop.back_at->t);
    drop.volts_back = back.value, drop.slope_back = back.slope;
  }
  if (out.found.empty() && out.trouble.empty()) out.trouble = "no drop-out is over before the step ends";
  return out;
}

}  // namespace trackrod
