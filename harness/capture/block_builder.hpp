#pragma once
// A block of the journal, written: collects samples by signal and ticks. The format: docs/formats/journal.md.

#include <algorithm>
#include <cstdint>
#include <string>
#include <vector>

#include "harness/capture/block.hpp"
#include "harness/capture/bytes.hpp"

namespace trackrod {

// The samples of one signal in a block, in order of arrival.
struct Column {
  struct Source {  // of the samples from this one on
    std::size_t from{0};
    std::uint32_t uncertainty_ns{0};
    StampedBy by{StampedBy::harness};
    bool operator==(const Source&) const = default;
  };
  std::vector<std::int64_t> times;  // ns on the bench clock
  std::vector<double> values;
  std::vector<Source> sources;
  std::uint32_t uncertainty_ns{0};  // of the last sample
  StampedBy by{StampedBy::harness};

  void add(const Sample& sample) {
    if (sources.empty() || by != sample.by || uncertainty_ns != sample.uncertainty_ns) {
      by = sample.by;
      uncertainty_ns = sample.uncertainty_ns;
      sources.push_back({times.size(), uncertainty_ns, by});
    }
    times.push_back(sample.when.time_since_epoch().count());
    values.push_back(sample.value);
  }
  void clear();
  bool stamped_like(const Column& other) const { return times == other.times && sources == other.sources; }
};

// Collects samples and ticks until they are written as one block. Keeps its memory from block to block.
class BlockBuilder {
 public:
  // Resolutions are taken from `signals`, which must outlive this.
  explicit BlockBuilder(const std::vector<SignalInfo>& signals) : signals_{signals} {}
  void add(const Sample& sample) {
    if (sample.signal >= columns_.size()) columns_.resize(sample.signal + std::size_t{1});
    columns_[sample.signal].add(sample);
    ++samples_;
    widen(sample.when.time_since_epoch().count());
  }
  void add(const Tick& tick) {
    ticks_.push_back(tick);
    widen(tick.due.time_since_epoch().count());
  }
  std::size_t size() const { return samples_ + ticks_.size(); }
  std::size_t samples() const { return samples_; }
  std::size_t ticks() const { return ticks_.size(); }
  // From the earliest to the latest stamp or due time.
  BlockRange range() const { return {BenchTime{Duration{from_}}, BenchTime{Duration{to_}}}; }
  // The payload of the block; the builder is empty afterwards.
  std::string take();

 private:
  void widen(std::int64_t when) {
    from_ = std::min(from_, when);
    to_ = std::max(to_, when);
  }
  void find_groups();
  void write_group(const std::vector<SignalIndex>& group);
  void write_values(const std::vector<double>& values, const SignalInfo* signal);
  void write_ticks();

  const std::vector<SignalInfo>& signals_;
  std::vector<Column> columns_;  // by signal
  std::vector<Tick> ticks_;
  std::size_t samples_{0};
  std::int64_t from_{INT64_MAX}, to_{INT64_MIN};

  // While a block is written; kept for their memory.
  std::vector<std::vector<SignalIndex>> groups_;
  std::vector<std::int64_t> due_, counts_;
  ByteWriter block_, group_, values_;
};

}  // namespace trackrod
