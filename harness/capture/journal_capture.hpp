#pragma once
// A capture read from a journal on the disk. Holds events, spans and a coarse index; samples are read when they are
// asked for, so that its memory does not grow with the length of the run.

#include <memory>
#include <optional>
#include <string>
#include <vector>

#include "harness/capture/block.hpp"
#include "harness/capture/reader.hpp"
#include "harness/capture/summary.hpp"

namespace trackrod {

// Readable from several threads at once after open().
class JournalCapture final : public CaptureView {
 public:
  // Reads the whole journal once. Damage is no error: it is found in losses() and gaps(). Error kind storage when there
  // is no journal, or no stream header in it can be read.
  static Result<std::unique_ptr<JournalCapture>> open(const std::string& dir);
  // As above, of these segments of one journal alone: neighbours, in order.
  static Result<std::unique_ptr<JournalCapture>> over(const std::vector<std::string>& segments);
  JournalCapture(const JournalCapture&) = delete;
  JournalCapture& operator=(const JournalCapture&) = delete;

  const StreamHeader& header() const { return header_; }
  // Empty: the recording was cut off.
  const std::optional<RunEnd>& ended() const { return ended_; }
  const std::vector<Loss>& losses() const { return losses_; }
  const std::vector<ClockPair>& clock_pairs() const { return clock_pairs_; }
  std::uint64_t sample_count() const { return samples_; }
  // The latest time of each segment's samples; BenchTime::min() where it holds none.
  std::vector<BenchTime> segment_ends() const;

  const std::vector<SignalInfo>& signals() const override { return header_.signals; }
  const std::vector<Span>& spans() const override { return spans_; }
  const std::vector<Event>& events() const override { return summary_.events(); }
  // As recorded, and one for each loss.
  const std::vector<Gap>& gaps() const override { return gaps_; }
  const std::vector<Note>& notes() const override { return notes_; }
  const std::vector<LeftOut>& left_out() const override { return left_out_; }
  const TimingQuality& timing() const override { return timing_; }
  BenchTime begin() const override { return summary_.begin(); }
  BenchTime end() const override { return summary_.end(); }
  Result<std::vector<Point>> points(SignalIndex signal, BenchTime from, BenchTime to) const override;
  Result<void> each_stamps(BenchTime from, BenchTime to, const StampsVisitor& take) const override;

  // Every sample and tick, in the order of the journal, reading one block after another. Error kind storage when the
  // files are no longer what open() found.
  Result<void> visit(const BlockVisitor& visitor) const;

 private:
  // Neighbouring blocks of one segment.
  struct Stretch {
    FramePlace at;
    std::uint64_t end{0};  // offset behind the last block
    std::uint64_t blocks{0};
    BenchTime from{}, to{};
    BenchTime latest_so_far{}, earliest_from_here{};  // of all stretches to here, and from here on: what is searched
  };

  explicit JournalCapture(StreamHeader header) : header_{std::move(header)} {}
  static Result<std::unique_ptr<JournalCapture>> read(const std::vector<std::string>& segments, bool whole);
  void read(JournalReader& reader);
  std::optional<BenchTime> take(const Frame& frame, JournalReader& reader, BlockReader& blocks);
  std::optional<BenchTime> take_block(const Frame& frame, BlockReader& blocks);
  void index(const Stretch& block);
  void order_stretches();
  void take_left_out(const LeftOut& left_out);
  void mark_spans();
  void note_losses(const std::vector<Loss>& losses, BenchTime from, BenchTime to);
  // The blocks that may hold something of [from, to).
  Result<void> visit(BenchTime from, BenchTime to, BlockVisitor visitor) const;
  Result<void> visit(const Stretch& stretch, JournalReader& reader, const BlockVisitor& visitor) const;

  StreamHeader header_;
  Summary summary_{header_};
  std::vector<std::string> segments_;
  std::vector<Stretch> stretches_;
  std::uint64_t blocks_per_stretch_{1};
  std::vector<Span> spans_;
  std::vector<LeftOut> left_out_;
  bool goes_on_left_out_{false};  // no block stands behind the last of them
  std::vector<Gap> gaps_;
  std::vector<Note> notes_;
  std::vector<Loss> losses_;
  std::vector<ClockPair> clock_pairs_;
  std::optional<RunEnd> ended_;
  TimingQuality timing_;
  std::uint64_t samples_{0};
};

}  // namespace trackrod
