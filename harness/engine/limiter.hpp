#pragma once
// The last word on every setpoint before it is sent: the bench's range and slew.

#include "harness/bench/bench.hpp"

namespace trackrod {

enum class LimitedBy : std::uint8_t { nothing = 0, range = 1, slew = 2 };

struct Limited {
  double value{0.0};
  LimitedBy by{LimitedBy::nothing};
};

// `previous` is what was sent `since` ago; all in the signal's unit. Loop-safe.
Limited limit_setpoint(const SignalInfo& signal, double wanted, double previous, Duration since) noexcept;

}  // namespace trackrod
