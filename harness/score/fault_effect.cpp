#include "harness/score/fault_effect.hpp"

#include <algorithm>
#include <cmath>

#include "harness/score/findings.hpp"

namespace trackrod {
namespace {

constexpr double sure = 4.0;  // standard deviations of the noise beyond a bound

enum class Side : std::uint8_t { in, out, open };

}  // namespace

FaultEffect effect_of(const Series& output, const Series& reference, const LaggedLine& before,
                      const FaultStretch& fault, double until, const EffectRule& rule) {
  FaultEffect e;
  const double begin = fault.begin.earliest();
  e.margin = sure * output.noise;
  if (rule.departure) e.margin = std::max(e.margin, before.greatest_residual);
  if (2.0 * e.margin >= rule.high - rule.low) {
    e.trouble = "the output alone varies by " + with_unit(e.margin, "", 3) +
                "to either side before the fault, which fills the bounds within which it is in hand";
    return e;
  }
  if (until - begin < rule.hold) {
    e.trouble = "the fault, or the step, ends sooner than the output could have stayed within for long enough";
    return e;
  }
  const auto expected = rule.departure ? before.course(reference, output.t) : std::vector<double>(output.size(), 0.0);
  const auto value = [&](std::size_t i) { return output.y[i] - expected[i]; };
  const auto side = [&](double v) {
    if (v < rule.low - e.margin || v > rule.high + e.margin) return Side::out;
    return v >= rule.low + e.margin && v <= rule.high - e.margin ? Side::in : Side::open;
  };
  const std::size_t first = output.from(begin), end = output.from(until);
  if (first == 0 || first >= end) {
    e.trouble = "the output has no samples about the onset";
    return e;
  }
  const double shown_before = std::max(0.1, 0.5 * (until - begin));
  for (std::size_t i = output.from(begin - shown_before); i < end; ++i) {
    e.t.push_back(output.t[i]);
    e.v.push_back(value(i));
  }
  // From the last sample before the onset on, which is what the output was when it came.
  std::optional<std::size_t> last_out, last_not_in;
  for (std::size_t i = first - 1; i < end; ++i) {
    const auto s = side(value(i));
    if (s == Side::out) last_out = i;
    if (s != Side::in) last_not_in = i;
  }
  if (!last_out) {
    e.quiet = true;
    e.trouble = rule.departure
                    ? "the output did not depart by more than the tolerance: no reaction to be seen, see 'departure'"
                    : "the output was within 'safe' before the fault: no reaction to be seen";
    return e;
  }
  const double out_at = std::max(begin, output.t[*last_out] - output.stamp_half_width);
  if (*last_not_in + 1 >= end || until - output.t[*last_not_in + 1] < rule.hold) {
    e.never = output.t[*last_out] > until - rule.hold;
    if (!e.never) e.trouble = "the fault ends, or the step does, before the output was surely within for long enough";
    return e;
  }
  const double in_at = output.t[*last_not_in + 1] + output.stamp_half_width;
  for (std::size_t i = first; i < end && output.t[i - 1] < in_at + rule.hold; ++i) {
    const double hole = output.t[i] - output.t[i - 1];
    if (output.t[i] <= in_at) e.worst_hole = std::max(e.worst_hole, hole);
    if (output.t[i - 1] >= in_at && hole > 0.5 * rule.hold) {
      e.trouble =
          "samples of the output are missing for " + with_unit(1e3 * hole, "ms") + " right after it came within";
      return e;
    }
  }
  e.in_hand = between(out_at, in_at);
  return e;
}

}  // namespace trackrod
