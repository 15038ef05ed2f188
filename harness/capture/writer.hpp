#pragma once
// Writes the live journal (docs/formats/journal.md). For a normal thread of the process that keeps the run: it
// allocates and it blocks. One thread at a time.

#include <memory>
#include <string>

#include "harness/base/error.hpp"
#include "harness/capture/record.hpp"
#include "harness/capture/stream_header.hpp"
#include "harness/capture/view.hpp"

namespace trackrod {

struct SegmentLimits {
  std::uint64_t bytes{1ULL << 30};
  Duration time{std::chrono::minutes{10}};  // by the ticks recorded, not by the wall clock
};

class JournalWriter {
 public:
  // Makes `dir` when it is missing and begins its first segment. Error kind storage, also when `dir` already holds a
  // journal.
  static Result<JournalWriter> create(const std::string& dir, StreamHeader header, SegmentLimits limits = {});

  JournalWriter(JournalWriter&&) noexcept;
  JournalWriter& operator=(JournalWriter&&) noexcept;
  ~JournalWriter();  // writes what is batched, without an end frame

  // All of the below fail with kind storage. Frames that could not be written are lost and counted; the next call that
  // writes begins a new segment and says there, in a gap frame, what is missing.

  // Batches the record. Writes by itself only when the batch has grown large.
  Result<void> put(const Record& record);
  // Writes everything batched, as whole frames. To be called at least every 100 ms.
  Result<void> flush();
  // Flushes, then waits until all of it is on the disk. To be called each second. May take some tenths of a second.
  Result<void> sync();
  // For what must be on disk before it is acted on: batched records first, then this, then a sync.
  Result<void> event_on_disk(const Event& event);
  // Text beside the events: device messages, the operator's notes. Written at once, not synced.
  Result<void> note(const Note& note);
  Result<void> gap(const Gap& gap);
  Result<void> clock_pair(const ClockPair& pair);
  // Flushes, writes the end frame ("finished", "stopped by the operator", ...) and syncs. Nothing may follow.
  Result<void> end(BenchTime when, const std::string& why);

  // For how long the oldest written frame has been waiting for a completed sync; zero when all is on the disk. What a
  // cut of power would cost now.
  Duration unsynced() const;
  std::uint64_t bytes_written() const;
  unsigned segments() const;           // begun so far
  std::uint64_t records_lost() const;  // in failed writes
  const StreamHeader& header() const;

 private:
  struct State;
  explicit JournalWriter(std::unique_ptr<State> state);
  std::unique_ptr<State> state_;
};

// Records straight into a journal, for rehearsals: blocks and allocates, so not for a loop in real time. The first
// error is kept; after it nothing more is taken.
class JournalSink final : public RecordSink {
 public:
  explicit JournalSink(JournalWriter& writer) : writer_{writer} {}
  bool put(const Record& record) noexcept override;
  const Result<void>& outcome() const { return outcome_; }

 private:
  JournalWriter& writer_;
  BenchTime flushed_{};
  Result<void> outcome_;
};

}  // namespace trackrod
