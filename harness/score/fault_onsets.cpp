#include "harness/score/fault_onsets.hpp"

#include <algorithm>
#include <cmath>

#include "harness/score/findings.hpp"
#include "harness/score/series.hpp"

namespace trackrod {
namespace {

enum class Look : std::uint8_t { good, bad, open };

constexpr auto began_before = "the fault was there before the step began, so that its onset is not recorded";
constexpr double sure = 4.0;  // standard deviations of the noise beyond a bound

// Samples as they came: a sense line that never changes is no trouble here.
struct Sensed {
  std::vector<double> t, y;
  double stamp_half_width{0.0};
};

Sensed read_sensed(const ScoreInput& input, SignalIndex signal, const Span& span) {
  Sensed s;
  const auto delay = input.capture.signals()[signal].delay;
  const auto points = input.capture.points(signal, span.from + delay, span.to + delay);
  if (!points) return s;
  std::vector<double> widths;
  for (const auto& p : *points) {
    const double t = seconds(p.when - delay - span.from);
    if (!std::isfinite(p.value) || (!s.t.empty() && t <= s.t.back())) continue;
    s.t.push_back(t);
    s.y.push_back(p.value);
    widths.push_back(1e-9 * p.uncertainty_ns);
  }
  s.stamp_half_width = median_of(std::move(widths));
  return s;
}

}  // namespace

FaultStretches faults_in(const ScoreInput& input, const std::string& role, const Span& span, const FaultRule& rule) {
  const auto& info = input.capture.signals()[input.signal(role)];
  const auto s = read_sensed(input, input.signal(role), span);
  if (s.t.empty()) return {{}, "'" + info.name + "' has no samples", 0.0};
  const double margin = sure * noise_of(s.t, s.y), bounce = seconds(rule.bounce);
  const auto look = [&](double y) {
    const bool good = y >= rule.low && y <= rule.high;
    const double beyond = std::min(std::abs(y - rule.low), std::abs(y - rule.high));
    return beyond < margin ? Look::open : good ? Look::good : Look::bad;
  };
  const auto instant = [&](double earliest, double latest) {
    return between(earliest - s.stamp_half_width, latest + s.stamp_half_width);
  };

  FaultStretches out;
  for (std::size_t i = 1; i < s.t.size(); ++i) out.longest_gap = std::max(out.longest_gap, s.t[i] - s.t[i - 1]);
  std::optional<double> last_good, last_bad, good_since;  // good_since: while a fault may be over
  bool in_fault = false, known = true;
  const auto end_fault = [&] {
    if (known) out.found.back().end = instant(*last_bad, *good_since);
    in_fault = false, known = true;
    good_since.reset();
  };
  for (std::size_t i = 0; i < s.t.size(); ++i) {
    const auto now = look(s.y[i]);
    if (in_fault && good_since && s.t[i] - *good_since >= bounce) end_fault();
    if (now == Look::good) {
      if (in_fault && !good_since) good_since = s.t[i];
      last_good = s.t[i];
    } else if (now == Look::bad) {
      if (!in_fault) {
        in_fault = true, known = last_good.has_value();
        if (known)
          out.found.push_back({instant(*last_good, s.t[i]), std::nullopt, 0});
        else
          out.trouble = began_before;
      } else if (good_since && known) {
        ++out.found.back().bounces;
      }
      good_since.reset();
      last_bad = s.t[i];
    }
  }
  if (out.found.empty() && out.trouble.empty()) {
    const auto [least, most] = std::minmax_element(s.y.begin(), s.y.end());
    out.trouble =
        "'" + info.name + "' stays within " + with_unit(*least, info.unit) + " and " + with_unit(*most, info.unit);
  }
  return out;
}

}  // namespace trackrod
