#include "harness/cli/trend.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <limits>
#include <set>

#include "harness/base/problems.hpp"
#include "harness/base/units.hpp"
#include "harness/cli/history_lists.hpp"

namespace trackrod {
namespace {

constexpr double minute = 60.0, hour = 60.0 * minute, day = 24.0 * hour;

struct TimeScale {
  std::string unit;
  double seconds;
};

TimeScale scale_for(double span_s) {
  if (span_s < 2.0 * hour) return {"min", minute};
  if (span_s < 2.0 * day) return {"h", hour};
  return {"days", day};
}

// What a value belongs to, from the widest to the narrowest.
using Belongs = std::array<std::string, 5>;

Belongs belongs(const HistoryFinding& line) {
  Belongs b{line.run.unit, line.plan, line.finding.step, "", ""};
  for (const auto& signal : line.finding.signals) b[3] += (b[3].empty() ? "" : ", ") + signal;
  b[4] = "no. " + std::to_string(line.ordinal);
  return b;
}

// Of all of them the parts in which they differ.
std::vector<std::size_t> telling(const std::vector<Belongs>& all) {
  std::vector<std::size_t> parts;
  for (std::size_t part = 0; part < Belongs{}.size(); ++part)
    if (std::any_of(all.begin(), all.end(), [&](const Belongs& b) { return b[part] != all.front()[part]; }))
      parts.push_back(part);
  if (parts.empty()) parts.push_back(0);
  return parts;
}

void mark_limits(const std::vector<HistoryFinding>& lines, Figure& figure) {
  std::set<std::pair<bool, double>> limits;  // whether it is the high end
  for (const auto& line : lines) {
    if (line.finding.limit_low) limits.emplace(false, *line.finding.limit_low);
    if (line.finding.limit_high) limits.emplace(true, *line.finding.limit_high);
  }
  for (const auto& [high, value] : limits) {
    Mark mark;
    mark.label = std::string{high ? "at most " : "at least "} + shown(value) + " " + lines.front().finding.unit;
    mark.axis = 'y';
    mark.value = value;
    figure.marks.push_back(mark);
  }
}

}  // namespace

Result<Figure> trend_figure(const std::vector<HistoryFinding>& findings) {
  std::vector<HistoryFinding> lines;
  std::copy_if(findings.begin(), findings.end(), std::back_inserter(lines),
               [](const HistoryFinding& l) { return l.finding.value && l.run.at > 0; });
  if (lines.empty()) return fail(Fault::bad_input, "no such finding has a value, so there is nothing to draw");
  std::vector<std::string> units;
  for (const auto& line : lines)
    if (std::find(units.begin(), units.end(), line.finding.unit) == units.end()) units.push_back(line.finding.unit);
  if (units.size() > 1)
    return fail(Fault::bad_input, "the values are in " + one_of(units) +
                                      ", which have no common axis; choose among them with --plan or --step");
  const auto& from = lines.front().run;
  const auto scale = scale_for(static_cast<double>(lines.back().run.at - from.at));
  Figure figure;
  figure.title = lines.front().finding.name;
  figure.x_label = "time since " + (from.started.empty() ? from.day : shown_minute(from.started)) + " / " + scale.unit;
  figure.y_label = figure.title + " / " + units.front();
  std::vector<Belongs> all, curves;
  for (const auto& line : lines) all.push_back(belongs(line));
  const auto parts = telling(all);
  for (std::size_t i = 0; i < lines.size(); ++i) {
    const auto at = static_cast<std::size_t>(std::find(curves.begin(), curves.end(), all[i]) - curves.begin());
    if (at == curves.size()) {
      curves.push_back(all[i]);
      auto& curve = figure.curves.emplace_back();
      curve.style = Curve::Style::points;
      for (const auto part : parts) curve.label += (curve.label.empty() ? "" : ", ") + all[i][part];
    }
    constexpr auto none = std::numeric_limits<double>::quiet_NaN();
    auto& curve = figure.curves[at];
    curve.x.push_back(static_cast<double>(lines[i].run.at - from.at) / scale.seconds);
    curve.y.push_back(*lines[i].finding.value);
    curve.low.push_back(lines[i].finding.low.value_or(none));
    curve.high.push_back(lines[i].finding.high.value_or(none));
  }
  mark_limits(lines, figure);
  return figure;
}

}  // namespace trackrod
