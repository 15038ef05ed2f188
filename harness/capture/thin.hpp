#pragma once
// Leaves samples and ticks out of a closed segment of the journal. Events, notes and all else stay; what was left out
// is said in its place. The format: docs/formats/journal.md.

#include <span>
#include <string>

#include "harness/base/error.hpp"
#include "harness/base/time.hpp"

namespace trackrod {

struct TimeRange {
  BenchTime from{}, to{};
};

// Blocks that lie wholly within one of the ranges are left out. The ranges are in order and do not overlap. The segment
// is replaced in one go, once the new one is on the disk, so that a kill or a cut of power leaves one of the two whole.
// A segment with damage in it stays as it is: who knows what else is wrong. Whoever has it open goes on reading the old
// one. The result: the bytes that were gained. May block for long. Error kind storage.
Result<std::uint64_t> thin_segment(const std::string& path, std::span<const TimeRange> leave_out);

}  // namespace trackrod
