#include "harness/score/interval_histogram.hpp"

#include <algorithm>
#include <bit>

namespace trackrod {
namespace {

constexpr int fine_bits = 12;
constexpr int octaves = 63 - fine_bits;
constexpr std::uint64_t fine = std::uint64_t{1} << fine_bits;

// Below 2^12 ns each nanosecond has a bin; above, each octave has as many.
std::size_t bin_of(Duration interval) {
  const auto ns = static_cast<std::uint64_t>(std::max<std::int64_t>(0, interval.count()));
  if (ns < fine) return ns;
  const int octave = static_cast<int>(std::bit_width(ns)) - 1 - fine_bits;
  return (static_cast<std::size_t>(octave) + 1) * fine + ((ns >> octave) - fine);
}
Duration middle_of(std::size_t bin) {
  if (bin < fine) return Duration{static_cast<std::int64_t>(bin)};
  const auto octave = bin / fine - 1;
  const std::uint64_t low = (fine + bin % fine) << octave;
  return Duration{static_cast<std::int64_t>(low + (std::uint64_t{1} << octave) / 2)};
}

}  // namespace

IntervalHistogram::IntervalHistogram() : bins_((octaves + 1) * fine) {}

void IntervalHistogram::add(Duration interval) {
  ++bins_[bin_of(interval)];
  ++count_;
  longest_ = std::max(longest_, interval);
}

Duration IntervalHistogram::quantile(double share) const {
  const auto rank = static_cast<std::uint64_t>(share * static_cast<double>(count_ - 1));
  std::uint64_t sum = 0;
  for (std::size_t bin = 0; bin < bins_.size(); ++bin)
    if ((sum += bins_[bin]) > rank) return std::min(middle_of(bin), longest_);
  return longest_;
}

std::uint64_t IntervalHistogram::longer_than(Duration interval) const {
  std::uint64_t sum = 0;
  for (std::size_t bin = bin_of(interval) + 1; bin < bins_.size(); ++bin) sum += bins_[bin];
  return sum;
}

}  // namespace trackrod
