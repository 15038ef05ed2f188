#include "harness/capture/memory_capture.hpp"

#include <algorithm>

namespace trackrod {
namespace {

constexpr auto by_stamp = [](const Point& a, const Point& b) { return a.when < b.when; };

}  // namespace

MemoryCapture::MemoryCapture(StreamHeader header) : header_{std::move(header)}, points_(header_.signals.size()) {}

bool MemoryCapture::put(const Record& record) noexcept try {
  if (record.kind == Record::Kind::tick) {
    summary_.add(record.tick);
  } else if (record.kind == Record::Kind::event) {
    summary_.add(record.event);
  } else {
    const auto& s = record.sample;
    if (s.signal >= points_.size()) return false;
    auto& row = points_[s.signal];
    const Point point{s.when, s.value, s.uncertainty_ns, s.by};
    const bool last = row.empty() || row.back().when <= point.when;
    row.insert(last ? row.end() : std::upper_bound(row.begin(), row.end(), point, by_stamp), point);
    summary_.add(s);
  }
  return true;
} catch (const std::bad_alloc&) {
  return false;
}

const TimingQuality& MemoryCapture::timing() const { return timing_ = summary_.timing(); }

Result<std::vector<Point>> MemoryCapture::points(SignalIndex signal, BenchTime from, BenchTime to) const {
  if (signal >= points_.size())
    return fail(Fault::bad_input, "the capture has no signal number " + std::to_string(signal));
  const auto& row = points_[signal];
  const auto first = std::lower_bound(row.begin(), row.end(), Point{from}, by_stamp);
  const auto last = std::lower_bound(first, row.end(), Point{std::max(from, to)}, by_stamp);
  return std::vector<Point>(first, last);
}

}  // namespace trackrod
