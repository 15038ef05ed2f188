#pragma once
// Times between two instants that are each known to lie between two samples: bounds of each, of the greatest, of any
// rank. No distribution is assumed within the bounds: what is greatest lies between the greatest lower and the greatest
// upper bound, whatever the rest, so that choosing it adds no bias.

#include <string>
#include <vector>

#include "harness/score/between.hpp"
#include "harness/score/findings.hpp"

namespace trackrod {

struct TimeBounds {
  double low{0.0}, high{0.0};  // s
};

class FaultTimes {
 public:
  // From `begin` to `at`, never negative.
  void add(const Between& at, const Between& begin);
  std::size_t size() const { return low_.size(); }
  // 1: the least.
  TimeBounds of_rank(std::size_t rank) const;

 private:
  std::vector<double> low_, high_;  // s, each in order
};

// In ms. The interval holds the bounds whole, since the truth need not lie evenly in them, and beyond them what shifts
// all times together (`shift`, ms).
Finding bounded_time(const Frame& frame, const std::string& name, const TimeBounds& bounds,
                     const std::vector<Contribution>& shift);

}  // namespace trackrod
