#include "harness/score/supply_figures.hpp"

#include <algorithm>

#include "harness/score/figure.hpp"
#include "harness/score/series.hpp"

namespace trackrod {
namespace {

constexpr double ms = 1e3;

}  // namespace

Figure drop_outs_by_outcome(const std::vector<DropOut>& drops, const SignalInfo& volts,
                            const std::vector<Finding>& findings) {
  Figure f{"Drop-outs: how long, how deep", "length (ms)", "lowest voltage (" + volts.unit + ")", {}, {}};
  Curve survived{"survived", {}, {}, Curve::Style::points}, lost{"lost", {}, {}, Curve::Style::points};
  for (const auto& d : drops) {
    auto& curve = d.lost ? lost : survived;
    curve.x.push_back(ms * (d.end.t - d.begin.t));
    curve.y.push_back(d.lowest);
  }
  for (auto& curve : {survived, lost})
    if (!curve.x.empty()) f.curves.push_back(curve);
  add_mark(f, "longest survived", 'x', finding_named(findings, "supply.ridden_through"));
  add_mark(f, "lowest survived", 'y', finding_named(findings, "supply.lowest_survived"));
  return f;
}

Figure drop_out_time_line(const ScoreInput& input, const std::vector<DropOut>& drops, const std::vector<Span>& spans,
                          const std::vector<Finding>& findings) {
  const auto& volts = input.capture.signals()[input.signal("input")];
  const auto lost = std::find_if(drops.begin(), drops.end(), [](const DropOut& d) { return d.lost; });
  const auto which = lost == drops.end() ? 0 : static_cast<std::size_t>(lost - drops.begin());
  const auto& d = drops[which];
  Figure f{"Voltage in drop-out " + std::to_string(which + 1) + " of " + std::to_string(drops.size()),
           "time after the voltage fell below (ms)",
           volts.name + " (" + volts.unit + ")",
           {},
           {}};
  const auto mark = [&](const std::string& label, const Between& at) {
    f.marks.push_back({label, 'x', ms * (at.t - d.begin.t), ms * at.half_width});
  };
  mark("below", d.begin);
  if (d.lost) mark("stops", d.lost_at);
  mark("above", d.end);
  if (d.lost && d.back_at) mark("works", *d.back_at);
  add_mark(f, "stops at", 'y', finding_named(findings, "supply.stops_at"));
  add_mark(f, "works from", 'y', finding_named(findings, "supply.works_from"));
  const double last = d.lost && d.back_at ? std::max(d.end.t, d.back_at->t) : d.end.t,
               beside = 0.3 * (last - d.begin.t);
  const auto& span = spans[which];
  const auto s = read_series(input.capture, input.signal("input"), span.from, span.to, span.from);
  std::vector<double> x, y;
  for (std::size_t i = 0; i < s.size(); ++i) {
    if (s.t[i] < d.begin.t - beside || s.t[i] > last + beside) continue;
    x.push_back(ms * (s.t[i] - d.begin.t));
    y.push_back(s.y[i]);
  }
  f.curves.push_back(thinned("measured", x, y));
  return f;
}

}  // namespace trackrod
