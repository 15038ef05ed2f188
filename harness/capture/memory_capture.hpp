#pragma once
// A capture held in memory, for rehearsals and tests. It grows with every record, so it is not for the loop of a real
// bench.

#include "harness/capture/summary.hpp"

namespace trackrod {

// One thread at a time, readers included.
class MemoryCapture final : public CaptureView, public RecordSink {
 public:
  explicit MemoryCapture(StreamHeader header);
  MemoryCapture(const MemoryCapture&) = delete;
  MemoryCapture& operator=(const MemoryCapture&) = delete;

  // False when there is no memory left, or the signal is none of the header's.
  bool put(const Record& record) noexcept override;
  void put(const Note& note) { notes_.push_back(note); }

  const StreamHeader& header() const { return header_; }
  const std::vector<SignalInfo>& signals() const override { return header_.signals; }
  const std::vector<Span>& spans() const override { return summary_.spans(); }
  const std::vector<Event>& events() const override { return summary_.events(); }
  const std::vector<Gap>& gaps() const override { return gaps_; }
  const std::vector<Note>& notes() const override { return notes_; }
  const TimingQuality& timing() const override;
  BenchTime begin() const override { return summary_.begin(); }
  BenchTime end() const override { return summary_.end(); }
  Result<std::vector<Point>> points(SignalIndex signal, BenchTime from, BenchTime to) const override;

 private:
  StreamHeader header_;
  Summary summary_{header_};
  std::vector<std::vector<Point>> points_;  // by signal, in the order of their stamps
  std::vector<Gap> gaps_;
  std::vector<Note> notes_;
  mutable TimingQuality timing_;
};

}  // namespace trackrod
