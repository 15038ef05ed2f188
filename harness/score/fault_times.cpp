#include "harness/score/fault_times.hpp"

#include <algorithm>

namespace trackrod {

void FaultTimes::add(const Between& at, const Between& begin) {
  const auto insert = [](std::vector<double>& to, double v) {
    to.insert(std::upper_bound(to.begin(), to.end(), v), v);
  };
  insert(low_, std::max(0.0, at.earliest() - begin.latest()));
  insert(high_, std::max(0.0, at.latest() - begin.earliest()));
}

TimeBounds FaultTimes::of_rank(std::size_t rank) const { return {low_[rank - 1], high_[rank - 1]}; }

Finding bounded_time(const Frame& frame, const std::string& name, const TimeBounds& bounds,
                     const std::vector<Contribution>& shift) {
  constexpr double ms = 1e3;
  const double middle = 0.5 * ms * (bounds.low + bounds.high);
  std::vector<Contribution> budget{rectangular("samples of both signals", 0.5 * ms * (bounds.high - bounds.low))};
  budget.insert(budget.end(), shift.begin(), shift.end());
  auto f = frame.measured(name, "ms", middle, std::move(budget));
  const auto beyond = combine(0.0, shift).interval;
  if (f.interval) f.interval = {ms * bounds.low + beyond[0], ms * bounds.high + beyond[1]};
  return f;
}

}  // namespace trackrod
