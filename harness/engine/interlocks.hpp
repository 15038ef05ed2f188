#pragma once
// Conditions that must hold while outputs are live.

#include <optional>
#include <vector>

#include "harness/engine/live_values.hpp"

namespace trackrod {

struct Broken {
  std::size_t interlock{0};
  double value{0.0};  // NaN: no value, or the device is lost
};

class InterlockWatch {
 public:
  explicit InterlockWatch(const std::vector<Interlock>& interlocks)
      : interlocks_{interlocks}, broken_since_(interlocks.size(), BenchTime::max()), has_held_(interlocks.size()) {}
  // The first interlock, in the bench's order, that has been broken for longer than its grace time. While arming
  // (`all` false) an interlock counts from the moment it has held for the first time: a supply that is still off cannot
  // be in range yet, but a torque that was and no longer is ends the arming. Loop-safe.
  std::optional<Broken> check(BenchTime now, const LiveValues& live, bool all) noexcept;

 private:
  const std::vector<Interlock>& interlocks_;
  std::vector<BenchTime> broken_since_;  // max() = holds
  std::vector<char> has_held_;
};

}  // namespace trackrod
