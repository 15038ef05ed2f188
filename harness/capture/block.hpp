#pragma once
// A block of the journal, read: samples by signal in columns, and ticks. The format: docs/formats/journal.md.

#include <functional>
#include <optional>
#include <string>
#include <vector>

#include "harness/capture/frame.hpp"

namespace trackrod {

enum class ValueCoding : std::uint8_t { doubles, one_value, counts };

// The value behind a count, as writer and reader must work it out alike.
inline double from_count(const SignalInfo& s, double count) {
  const double product = s.resolution * count;  // rounded by itself: no fused multiply-add
  return product + s.resolution_offset;
}

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
