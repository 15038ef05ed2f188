#include "harness/engine/limiter.hpp"

#include <algorithm>

namespace trackrod {

Limited limit_setpoint(const SignalInfo& signal, double wanted, double previous, Duration since) noexcept {
  Limited out{std::clamp(wanted, signal.range_low, signal.range_high), LimitedBy::nothing};
  if (out.value != wanted) out.by = LimitedBy::range;
  if (signal.max_slew <= 0.0) return out;
  // A timeline that moves at exactly the greatest slew must pass in spite of rounding.
  const double step = signal.max_slew * seconds(since) * (1.0 + 1e-6) + 1e-12;
  const double slewed = std::clamp(out.value, previous - step, previous + step);
  if (slewed != out.value) out = {slewed, LimitedBy::slew};
  return out;
}

}  // namespace trackrod
