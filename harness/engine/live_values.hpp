#pragma once
// The newest value of each signal, as interlocks and sequences see it.

#include <cmath>
#include <vector>

#include "harness/bench/bench.hpp"

namespace trackrod {

class LiveValues {
 public:
  explicit LiveValues(const Bench& bench)
      : latest_(bench.signals.size()), lost_(bench.devices.size(), true), device_of_(bench.signals.size()) {
    for (std::size_t i = 0; i < bench.signals.size(); ++i) device_of_[i] = bench.signals[i].device;
  }
  void take(const Sample& s) noexcept {
    if (s.signal < latest_.size()) latest_[s.signal] = s;
  }
  void set_lost(std::size_t device, bool lost) noexcept { lost_[device] = lost; }
  bool lost(std::size_t device) const noexcept { return lost_[device]; }
  // The value, or NaN when there is none, or the device that gives it is lost.
  double value(SignalIndex signal) const noexcept {
    if (signal >= latest_.size() || lost_[device_of_[signal]] || latest_[signal].signal == no_signal) return NAN;
    return latest_[signal].value;
  }
  const Sample& latest(SignalIndex signal) const noexcept { return latest_[signal]; }
  std::size_t device_of(SignalIndex signal) const noexcept { return device_of_[signal]; }

 private:
  std::vector<Sample> latest_;
  std::vector<char> lost_;
  std::vector<std::size_t> device_of_;
};

}  // namespace trackrod
