#pragma once
// The ways in which a bench makes faults.

#include <cstdint>
#include <variant>

#include "harness/base/message_fault.hpp"
#include "harness/base/sample.hpp"

namespace trackrod {

// A value that the harness sends, made wrong. It never leaves the signal's range.
struct SignalFault {
  enum class Kind : std::uint8_t {
    set,       // goes to `value`: a relay, a supply
    stuck,     // stays where it was
    offset,    // `value` is added
    gain,      // times `value`
    drift,     // an offset that grows by `value` per second
    ramp,      // runs to `value` at `rate` per second, from where it was
    noise,     // normally distributed, standard deviation `value`
    late,      // as it was `delay` ago
    inverted,  // the other sign
    swapped    // what `other` would be, and `other` what this one would be
  };
  Kind kind{Kind::set};
  SignalIndex signal{no_signal};
  double value{0.0}, rate{0.0};  // in the signal's unit
  Duration delay{};
  SignalIndex other{no_signal};
  std::uint64_t seed{1};
  bool jumps{false};  // past the signal's greatest slew; never a setpoint of an axis
};

using FaultWay = std::variant<SignalFault, MessageFault>;

// Comes and goes: in every `period` it is there for `share` of it, at a place drawn from `seed`.
struct Intermittence {
  Duration period{};
  double share{0.5};
  std::uint64_t seed{1};

  // `since` its onset. Loop-safe.
  bool there(Duration since) const noexcept;
};

}  // namespace trackrod
