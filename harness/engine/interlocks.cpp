#include "harness/engine/interlocks.hpp"

namespace trackrod {

std::optional<Broken> InterlockWatch::check(BenchTime now, const LiveValues& live, bool all) noexcept {
  std::optional<Broken> first;
  for (std::size_t i = 0; i < interlocks_.size(); ++i) {
    const double value = live.value(interlocks_[i].condition.signal);
    if (interlocks_[i].condition.met_by(value)) {  // false for NaN
      broken_since_[i] = BenchTime::max();
      has_held_[i] = true;
      continue;
    }
    if (!all && !has_held_[i]) continue;
    if (broken_since_[i] == BenchTime::max()) broken_since_[i] = now;
    if (!first && now - broken_since_[i] >= interlocks_[i].grace) first = Broken{i, value};
  }
  return first;
}

}  // namespace trackrod
