#pragma once
// Times between samples of many signals. Signals of one message share their stamps, mostly from the first to the last:
// they are counted once.

#include <optional>
#include <span>
#include <vector>

#include "harness/base/sample.hpp"
#include "harness/score/interval_histogram.hpp"

namespace trackrod {

class SharedIntervals {
 public:
  // Of the signals for which `wanted` is true; by signal.
  explicit SharedIntervals(const std::vector<bool>& wanted);
  // Stamps that these signals share, each signal's in their order. A sample that came late counts as one that came with
  // the one before.
  void add(std::span<const SignalIndex> signals, std::span<const BenchTime> when);
  // The next stamp of each signal follows on no other.
  void break_off();
  // Needs a wanted signal.
  const IntervalHistogram& of(SignalIndex signal) const { return rows_[row_of_[signal]].intervals; }

 private:
  struct Row {
    IntervalHistogram intervals;
    std::optional<BenchTime> last;
    std::size_t signals{0};  // that share it
    std::size_t here{0};     // those of them in what is being added
  };
  static constexpr std::size_t unwanted = static_cast<std::size_t>(-1);

  void split(std::size_t row, std::span<const SignalIndex> signals);

  std::vector<std::size_t> row_of_;  // by signal
  std::vector<Row> rows_;
};

}  // namespace trackrod
