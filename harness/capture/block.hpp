#pragma once
// A block of the journal, read: samples by signal in columns, and ticks. The format: docs/formats/journal.md.

#include <functional>
#include <optional>
#include <span>
#include <string>
#include <vector>

#include "harness/capture/bytes.hpp"
#include "harness/capture/frame.hpp"

namespace trackrod {

enum class ValueCoding : std::uint8_t { doubles, one_value, counts };

// The value behind a count, as writer and reader must work it out alike.
inline double from_count(const SignalInfo& s, double count) {
  const double product = s.resolution * count;  // rounded by itself: no fused multiply-add
  return product + s.resolution_offset;
}

// The least and the greatest time in a block; of a wish, `to` is the first one beyond.
struct BlockRange {
  BenchTime from{}, to{};
};

// So many samples in a row whose stamps are of one kind.
struct StampRun {
  std::size_t count{0};
  StampedBy by{};
  std::uint32_t uncertainty_ns{0};
};

// The samples of one signal in a block, in order of arrival. Valid while the visitor looks at it.
struct SampleColumn {
  SignalIndex signal{no_signal};
  std::span<const BenchTime> when;
  std::span<const double> value;
  std::span<const StampRun> runs;

  // Calls take(const Sample&) for each.
  template <class Take>
  void each(Take&& take) const {
    std::size_t i = 0;
    for (const auto& run : runs)
      for (const auto end = i + run.count; i < end; ++i)
        take(Sample{when[i], value[i], run.uncertainty_ns, signal, run.by});
  }
};

// The stamps that samples of these signals share in a block. Valid while the visitor looks at it.
struct StampGroup {
  std::span<const SignalIndex> signals;
  std::span<const BenchTime> when;
};

// What a reader of blocks wants to see. A function that is empty is not called, and its part is passed over where it
// can be.
struct BlockVisitor {
  std::function<void(const SampleColumn&)> samples;
  std::function<void(std::span<const Tick>)> ticks;
  SignalIndex only{no_signal};                      // samples of this signal only; no_signal: of all
  std::function<void(const StampGroup&)> stamps{};  // instead of samples, at a part of the cost
  std::optional<BlockRange> within{};  // blocks that end before or begin at its end or later are passed over
};
// The function for a visitor that takes one sample after another.
template <class Take>
auto each_sample(Take take) {
  return [take = std::move(take)](const SampleColumn& column) mutable { column.each(take); };
}

// Reads blocks, one after another. One thread at a time.
class BlockReader {
 public:
  // `signals` must live longer.
  explicit BlockReader(const std::vector<SignalInfo>& signals) : signals_{signals} {}

  // `good`: the block was found good before, so that parts that are not wanted need not be checked again.
  // Samples or stamps come by group, each signal's in order of arrival; then the ticks. Empty when the payload is no
  // block; a part of it may have been visited by then.
  std::optional<BlockRange> visit(Bytes payload, const BlockVisitor& visitor, bool good = false);

 private:
  bool visit_group(Bytes bytes, std::int64_t from, const BlockVisitor& visitor, bool good);
  bool visit_ticks(ByteReader& in, std::int64_t from, const BlockVisitor& visitor);
  bool read_times(ByteReader& in, std::uint64_t n, std::int64_t from);
  bool read_runs(ByteReader& in);
  bool read_counts(ByteReader& in, const SignalInfo& signal);
  bool read_values(std::uint8_t coding, Bytes coded, SignalIndex index);
  bool check_values(std::uint8_t coding, Bytes coded, SignalIndex index) const;

  const std::vector<SignalInfo>& signals_;
  // Of the group, the column and the ticks that are being read; kept for their memory.
  std::vector<SignalIndex> indices_;
  std::vector<BenchTime> times_;
  std::vector<StampRun> runs_;
  std::vector<double> values_;
  std::vector<Tick> ticks_;
};

}  // namespace trackrod
