#include "harness/report/rounding.hpp"

#include <algorithm>
#include <cmath>

#include "harness/base/units.hpp"
#include "harness/report/text.hpp"

namespace trackrod {
namespace {

// Beyond this many places a number is no longer one that people read.
constexpr int most_decimals = 15;

double power_of_ten(int exponent) { return std::pow(10.0, exponent); }

// value * 10^decimals, with the power kept positive: 10^-k has no exact double, 10^k up to 22 has.
double scaled(double value, int decimals) {
  return decimals >= 0 ? value * power_of_ten(decimals) : value / power_of_ten(-decimals);
}
double unscaled(double count, int decimals) {
  return decimals >= 0 ? count / power_of_ten(decimals) : count * power_of_ten(-decimals);
}

std::string with_unit(const std::string& number, const std::string& unit) {
  return unit.empty() || unit == "1" ? number : number + " " + unit;
}

struct Interval {
  double low, high;
};
std::optional<Interval> finite_interval(const Finding& finding) {
  if (!finding.interval) return std::nullopt;
  const auto [low, high] = *finding.interval;
  if (!std::isfinite(low) || !std::isfinite(high) || high < low) return std::nullopt;
  return Interval{low, high};
}

}  // namespace

StatedUncertainty stated_uncertainty(double uncertainty) {
  const int magnitude = static_cast<int>(std::floor(std::log10(uncertainty)));
  int decimals = std::min(1 - magnitude, most_decimals);
  const double exact = scaled(uncertainty, decimals);
  double count = std::round(exact);
  if (count < exact * 0.99) count += 1.0;
  if (count >= 100.0) count /= 10.0, --decimals;  // 99.6 is stated as 1.0e2
  count = std::max(std::round(count), 1.0);
  const double value = unscaled(count, decimals);
  return {value, decimals, to_place(value, decimals)};
}

std::string to_place(double value, int decimals) {
  if (decimals >= 0) return fixed(value, std::min(decimals, most_decimals));
  return fixed(unscaled(std::round(scaled(value, decimals)), decimals), 0);
}

std::string value_text(const Finding& finding) {
  if (!finding.value || !std::isfinite(*finding.value)) return "no value";
  const double value = *finding.value;
  const auto interval = finite_interval(finding);
  if (!interval || interval->high == interval->low) return with_unit(shown(value, 6), finding.unit);
  const double below = value - interval->low, above = interval->high - value;
  const auto stated = stated_uncertainty((interval->high - interval->low) / 2.0);
  if (std::abs(above - below) <= 0.02 * (above + below))
    return with_unit(to_place(value, stated.decimals) + " ± " + stated.text, finding.unit);
  if (below < 0.0 || above < 0.0) return with_unit(to_place(value, stated.decimals), finding.unit);
  return with_unit(to_place(value, stated.decimals) + " -" + to_place(below, stated.decimals) + " +" +
                       to_place(above, stated.decimals),
                   finding.unit);
}

std::string interval_text(const Finding& finding) {
  const auto interval = finite_interval(finding);
  if (!interval || interval->high == interval->low) return "";
  const int decimals = stated_uncertainty((interval->high - interval->low) / 2.0).decimals;
  // A count that is whole but for the last bits of a double stays where it is.
  const double low = scaled(interval->low, decimals), high = scaled(interval->high, decimals);
  const auto snapped = [](double x, double outward) {
    return std::abs(x - std::round(x)) <= 1e-6 ? std::round(x) : outward;
  };
  return with_unit(to_place(unscaled(snapped(low, std::floor(low)), decimals), decimals) + " to " +
                       to_place(unscaled(snapped(high, std::ceil(high)), decimals), decimals),
                   finding.unit);
}

std::string limit_text(const Finding& finding) {
  if (!finding.limit) return "no limit";
  const auto& limit = *finding.limit;
  switch (limit.kind) {
    case Limit::Kind::at_most:
      return with_unit("≤ " + shown(limit.high, 6), finding.unit);
    case Limit::Kind::at_least:
      return with_unit("≥ " + shown(limit.low, 6), finding.unit);
    case Limit::Kind::within:
      return with_unit(shown(limit.low, 6) + " to " + shown(limit.high, 6), finding.unit);
  }
  return "";
}

}  // namespace trackrod
