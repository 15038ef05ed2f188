#pragma once
// A block of the journal: samples by signal in columns, and ticks. The format: docs/formats/journal.md.

#include <functional>
#include <optional>
#include <string>
#include <vector>

#include "harness/capture/frame.hpp"

namespace trackrod {

// Collects samples and ticks until they are written as one block.
class BlockBuilder {
 public:
  // Resolutions are taken from `signals`, which must outlive this.
  explicit BlockBuilder(const std::vector<SignalInfo>& signals) : signals_{signals} {}
  void add(const Sample& sample);
  void add(const Tick& tick);
  std::size_t size() const { return samples_ + ticks_.size(); }
  std::size_t samples() const { return samples_; }
  std::size_t ticks() const { return ticks_.size(); }
  BenchTime from() const { return from_; }
  BenchTime to() const { return to_; }
  // The payload of the block; the builder is empty afterwards.
  std::string take();

 private:
  void widen(BenchTime when);
  const std::vector<SignalInfo>& signals_;
  std::vector<std::vector<Sample>> columns_;  // by signal, in order of arrival
  std::vector<Tick> ticks_;
  std::size_t samples_{0};
  BenchTime from_{BenchTime::max()}, to_{BenchTime::min()};
};

struct BlockRange {
  BenchTime from{}, to{};
};

// What a reader of blocks wants to see. A function that is empty is not called, and its part is passed over where it
// can be.
struct BlockVisitor {
  std::function<void(const Sample&)> sample;
  std::function<void(const Tick&)> tick;
  SignalIndex only{no_signal};  // samples of this signal only; no_signal: of all
};

// Samples come by signal, each signal's in order of arrival; then the ticks. Empty when the payload is no block; a part
// of it may have been visited by then.
std::optional<BlockRange> visit_block(Bytes payload, const std::vector<SignalInfo>& signals,
                                      const BlockVisitor& visitor);

}  // namespace trackrod
