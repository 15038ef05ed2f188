#include "harness/score/shared_intervals.hpp"

#include <algorithm>

namespace trackrod {

SharedIntervals::SharedIntervals(const std::vector<bool>& wanted) : row_of_(wanted.size(), unwanted), rows_(1) {
  for (std::size_t i = 0; i < wanted.size(); ++i) {
    if (!wanted[i]) continue;
    row_of_[i] = 0;
    ++rows_[0].signals;
  }
}

// Gives those of the row's signals that are among these a row of their own, which begins as the one they shared.
void SharedIntervals::split(std::size_t row, std::span<const SignalIndex> signals) {
  auto own = rows_[row];
  rows_[row].signals -= own.here;
  rows_[row].here = 0;
  own.signals = own.here;
  for (const auto signal : signals)
    if (signal < row_of_.size() && row_of_[signal] == row) row_of_[signal] = rows_.size();
  rows_.push_back(std::move(own));
}

void SharedIntervals::add(std::span<const SignalIndex> signals, std::span<const BenchTime> when) {
  const auto each_row = [&](auto take) {
    for (const auto signal : signals)  // the header may lack one
      if (signal < row_of_.size() && row_of_[signal] != unwanted) take(row_of_[signal]);
  };
  each_row([&](std::size_t row) { ++rows_[row].here; });
  each_row([&](std::size_t row) {
    if (rows_[row].here > 0 && rows_[row].here < rows_[row].signals) split(row, signals);
  });
  each_row([&](std::size_t index) {
    auto& row = rows_[index];
    if (row.here == 0) return;  // counted with another signal
    row.here = 0;
    for (const auto stamp : when) {
      if (row.last) row.intervals.add(stamp - *row.last);
      row.last = row.last ? std::max(*row.last, stamp) : stamp;
    }
  });
}

void SharedIntervals::break_off() {
  for (auto& row : rows_) row.last.reset();
}

}  // namespace trackrod
