#include "harness/report/limit_margin.hpp"

#include <algorithm>
#include <cmath>
#include <limits>

#include "harness/base/units.hpp"
#include "harness/score/decision.hpp"

namespace trackrod {
namespace {

bool is_time(const std::string& unit) {
  const auto parsed = Unit::parse(unit);
  return parsed && Conversion::between(*parsed, Unit::known("s")).has_value();
}

LimitMargin below(const Finding& f, double high) { return {f.name, high - *f.value, f.unit, {}}; }
LimitMargin above(const Finding& f, double low) { return {f.name, *f.value - low, f.unit, {}}; }

LimitMargin with_percent(LimitMargin margin, double limit) {
  if (limit != 0.0) margin.percent = 100.0 * margin.amount / std::abs(limit);
  return margin;
}

// What the worst margin is chosen by; less is worse.
double rank(const LimitMargin& m) {
  constexpr double most = std::numeric_limits<double>::max();
  return m.percent.value_or(m.amount < 0.0 ? -most : most);
}

}  // namespace

std::optional<LimitMargin> margin_of(const Finding& f) {
  if (!f.value || !std::isfinite(*f.value) || !f.limit || f.unit == "1" || f.unit.empty()) return std::nullopt;
  const auto& limit = *f.limit;
  const auto high = with_percent(below(f, limit.high), limit.high), low = with_percent(above(f, limit.low), limit.low);
  if (limit.kind == Limit::Kind::at_most) return high;
  if (limit.kind == Limit::Kind::at_least) return low;
  return high.amount < low.amount ? high : low;
}

std::optional<LimitMargin> worst_margin(const std::vector<Finding>& findings, MarginsOf which) {
  std::optional<LimitMargin> worst;
  for (const auto& f : findings) {
    const auto m = f.judged ? margin_of(f) : std::nullopt;
    if (!m || (which == MarginsOf::times && !is_time(m->unit))) continue;
    if (!worst || rank(*m) < rank(*worst)) worst = m;
  }
  return worst;
}

std::string margin_text(const LimitMargin& m) {
  auto text = shown(m.amount, 3) + " " + m.unit;
  if (m.percent) text += " (" + shown(*m.percent, std::abs(*m.percent) < 99.5 ? 2 : 3) + " %)";
  return text;
}

std::optional<double> false_accept(const Finding& f) {
  if (!f.judged || f.verdict != Verdict::pass || !f.value || !f.limit) return 0.0;
  if (!f.standard_uncertainty || !std::isfinite(*f.standard_uncertainty)) return std::nullopt;
  return std::max(0.0, 1.0 - probability_of_conformity(*f.value, *f.standard_uncertainty, *f.limit));
}

}  // namespace trackrod
