#pragma once
// What is gathered from a capture while its records go by: spans of steps, how well the run kept time, and when it
// began and ended. Shared by every kind of capture.

#include <algorithm>
#include <map>
#include <optional>

#include "harness/capture/stream_header.hpp"
#include "harness/capture/view.hpp"

namespace trackrod {

// Counts in bins of fixed width, the last one for all that is beyond.
class Histogram {
 public:
  Histogram(Duration bin, std::size_t bins) : bin_{bin}, counts_(bins + 1) {}
  void add(Duration value);
  const std::vector<std::uint64_t>& counts() const { return counts_; }
  Duration bin() const { return bin_; }
  Duration greatest() const { return greatest_; }
  // Values up to this one were seen that are not counted.
  void reached(Duration value) { greatest_ = std::max(greatest_, value); }
  // The nearest-rank percentile, rounded up to the end of its bin: at most one bin too high, never too low.
  Duration percentile(double percent) const;

 private:
  Duration bin_;
  std::vector<std::uint64_t> counts_;
  std::uint64_t total_{0};
  Duration greatest_{};
};

class Summary {
 public:
  explicit Summary(const StreamHeader& header) : header_{header} {}

  void add(const Sample& sample) { advance(sample.when); }
  void add(const Tick& tick);
  void add(const Event& event);
  void add(const LeftOut& left_out);
  // Something was recorded at this time.
  void advance(BenchTime when);
  // Records are missing from here on: the next step in the ticks' numbers is no missed tick.
  void break_ticks() { last_number_.reset(); }

  const std::vector<Span>& spans() const { return spans_; }
  const std::vector<Event>& events() const { return events_; }
  TimingQuality timing() const;
  std::uint64_t ticks() const { return ticks_; }
  // Of all records; both zero before the first.
  BenchTime begin() const { return begin_.value_or(BenchTime{}); }
  BenchTime end() const { return end_; }

 private:
  const StreamHeader& header_;
  std::vector<Span> spans_;
  std::map<std::uint32_t, std::size_t> open_;  // step id -> its span, while it runs
  std::vector<Event> events_;
  // 1 us bins to 5 ms, five ticks at 1 kHz: what is later is a missed tick and counted in the last bin.
  Histogram late_{std::chrono::microseconds{1}, 5000}, work_{std::chrono::microseconds{1}, 5000};
  std::uint64_t ticks_{0}, missed_{0};
  std::optional<std::uint32_t> last_number_;
  Duration input_age_max_{};
  std::optional<BenchTime> begin_;
  BenchTime end_{};
};

}  // namespace trackrod
