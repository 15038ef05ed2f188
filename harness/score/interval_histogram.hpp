#pragma once
// Times between samples, counted by length: of a night as of a second in the same memory.

#include <cstdint>
#include <vector>

#include "harness/base/time.hpp"

namespace trackrod {

// Bins are 1 / 4096 of their octave wide: a quantile is known to 0.012 %; takes one megabyte. Counts and the longest
// are exact.
class IntervalHistogram {
 public:
  IntervalHistogram();
  // Negative ones, of stamps out of order, count as none.
  void add(Duration interval);
  std::uint64_t count() const { return count_; }
  Duration longest() const { return longest_; }
  // The length that this share of the intervals is no longer than. Needs one or more.
  Duration quantile(double share) const;
  // How many are longer; those within the same bin are not.
  std::uint64_t longer_than(Duration interval) const;

 private:
  std::vector<std::uint32_t> bins_;
  std::uint64_t count_{0};
  Duration longest_{};
};

}  // namespace trackrod
