#include "harness/capture/writer.hpp"

#include <fcntl.h>
#include <sys/stat.h>
#include <unistd.h>

#include <algorithm>
#include <cerrno>
#include <filesystem>
#include <optional>

#include "harness/capture/block_builder.hpp"
#include "harness/capture/bytes.hpp"
#include "harness/capture/files.hpp"
#include "harness/capture/frame.hpp"

namespace trackrod {
namespace {

constexpr std::size_t largest_batch = 32768;  // records; bounds the memory when nobody flushes
constexpr Duration flush_every = std::chrono::milliseconds{100};

Duration passed(BenchTime from, BenchTime to) {
  return Duration{minus(to.time_since_epoch().count(), from.time_since_epoch().count())};
}

}  // namespace

struct JournalWriter::State {
  State(std::string d, StreamHeader h, SegmentLimits l) : dir{std::move(d)}, header{std::move(h)}, limits{l} {}

  Result<void> open_segment();
  Result<void> leave_segment();
  Result<void> write_frame(FrameKind kind, const std::string& payload);
  Result<void> append(FrameKind kind, const std::string& payload);
  Result<void> flush();
  Result<void> sync();
  void count_lost(std::uint64_t records, BenchTime from, BenchTime to);

  std::string dir;
  StreamHeader header;
  SegmentLimits limits;
  std::string path;
  FileDescriptor file;
  unsigned segment{0};
  std::uint64_t segment_bytes{0}, bytes{0}, sequence{0};
  BenchTime now{};  // the last tick's due time: stamps of samples may lie anywhere
  std::optional<BenchTime> segment_from;
  bool broken{false};  // the segment had an error: nothing more goes into it
  BlockBuilder block{header.signals};
  std::vector<Event> events;
  RunEnd totals;
  Gap lost;  // since the last gap frame about it
  std::uint64_t all_lost{0};
  SteadyTime clock;
  std::optional<BenchTime> unsynced_since;
};

Result<void> JournalWriter::State::open_segment() {
  auto number = std::to_string(++segment);
  number.insert(0, number.size() < 4 ? 4 - number.size() : 0, '0');
  path = dir + "/segment-" + number + ".trj";
  file = FileDescriptor{open(path.c_str(), O_WRONLY | O_APPEND | O_CREAT | O_EXCL | O_CLOEXEC, 0644)};
  if (!file.valid()) return fail_os(Fault::storage, "the journal's segment '" + path + "' could not be made", errno);
  broken = false;
  segment_bytes = 0;
  segment_from.reset();
  auto begun = append(FrameKind::header, to_json(header));
  if (begun) begun = sync_directory(dir);
  if (!begun) {
    unlink(path.c_str());  // holds no record
    broken = true;
    return begun;
  }
  if (lost.count == 0) return {};
  auto told = append(FrameKind::gap, encode_gap(lost));
  if (told) lost = Gap{};
  return told;
}

Result<void> JournalWriter::State::leave_segment() {
  const auto synced = broken ? Result<void>{} : sync();
  file = FileDescriptor{};
  return synced;
}

// Into the segment that is open. The frame's number is used up even when it cannot be written, so that it is seen to be
// missing.
Result<void> JournalWriter::State::append(FrameKind kind, const std::string& payload) {
  const auto frame = make_frame(kind, sequence++, payload);
  if (!unsynced_since) unsynced_since = clock.now();
  if (auto written = write_all(file.get(), frame, path); !written) {
    broken = true;
    return written;
  }
  segment_bytes += frame.size();
  bytes += frame.size();
  return {};
}

Result<void> JournalWriter::State::write_frame(FrameKind kind, const std::string& payload) {
  if (broken || !file.valid()) {
    if (auto opened = open_segment(); !opened) return opened;
  }
  return append(kind, payload);
}

void JournalWriter::State::count_lost(std::uint64_t records, BenchTime from, BenchTime to) {
  lost.from = lost.count == 0 ? from : std::min(lost.from, from);
  lost.to = lost.count == 0 ? to : std::max(lost.to, to);
  lost.count += records;
  all_lost += records;
  lost.why = "the disk did not take them";
}

Result<void> JournalWriter::State::flush() {
  Result<void> outcome;
  if (block.size() > 0) {
    const auto range = block.range();
    const auto samples = block.samples(), ticks = block.ticks();
    const bool full = segment_bytes >= limits.bytes || (segment_from && passed(*segment_from, now) >= limits.time);
    if (full && file.valid()) outcome = leave_segment();
    const auto payload = block.take();
    if (auto written = write_frame(FrameKind::block, payload); !written) {
      count_lost(samples + ticks, range.from, range.to);
      outcome = written;
    } else {
      if (!segment_from) segment_from = now;
      totals.samples += samples;
      totals.ticks += ticks;
    }
  }
  for (const auto& e : events) {
    if (auto written = write_frame(FrameKind::event, encode_event(e)); !written) {
      count_lost(1, e.when, e.when);
      outcome = written;
    } else {
      ++totals.events;
    }
  }
  events.clear();
  return outcome;
}

Result<void> JournalWriter::State::sync() {
  if (!file.valid() || broken || !unsynced_since) return {};
  if (fdatasync(file.get()) != 0) {
    broken = true;
    return fail_os(Fault::storage,
                   "the journal '" + path +
                       "' could not be brought to the disk; what was written since the last completed sync may be "
                       "gone, and recording goes on in a new segment: check the disk",
                   errno);
  }
  totals.longest_unsynced = std::max(totals.longest_unsynced, clock.now() - *unsynced_since);
  unsynced_since.reset();
  return {};
}

JournalWriter::JournalWriter(std::unique_ptr<State> state) : state_{std::move(state)} {}
JournalWriter::JournalWriter(JournalWriter&&) noexcept = default;
JournalWriter& JournalWriter::operator=(JournalWriter&&) noexcept = default;
JournalWriter::~JournalWriter() {
  if (state_) (void)state_->flush();
}

Result<JournalWriter> JournalWriter::create(const std::string& dir, StreamHeader header, SegmentLimits limits) {
  namespace fs = std::filesystem;
  std::error_code error;
  fs::create_directories(dir, error);
  if (error) return fail_os(Fault::storage, "the journal's folder '" + dir + "' could not be made", error.value());
  if (!fs::is_empty(dir, error) || error)
    return fail(Fault::storage,
                "the journal's folder '" + dir + "' already holds files; a run needs a folder of its own");
  const auto parent = fs::absolute(dir, error).parent_path().string();
  if (auto synced = sync_directory(parent); !synced) return tl::unexpected{synced.error()};
  auto state = std::make_unique<State>(dir, std::move(header), limits);
  if (auto opened = state->open_segment(); !opened) return tl::unexpected{opened.error()};
  return JournalWriter{std::move(state)};
}

Result<void> JournalWriter::put(const Record& record) {
  auto& s = *state_;
  if (record.kind == Record::Kind::sample) {
    s.block.add(record.sample);
  } else if (record.kind == Record::Kind::tick) {
    s.block.add(record.tick);
    s.now = record.tick.due;
  } else {
    s.events.push_back(record.event);
  }
  return s.block.size() + s.events.size() < largest_batch ? Result<void>{} : s.flush();
}

Result<void> JournalWriter::flush() { return state_->flush(); }

Result<void> JournalWriter::sync() {
  const auto flushed = state_->flush();
  const auto synced = state_->sync();
  return flushed ? synced : flushed;
}

Result<void> JournalWriter::event_on_disk(const Event& event) {
  if (auto taken = put(event); !taken) return taken;
  return sync();
}

Result<void> JournalWriter::note(const Note& note) {
  const auto flushed = flush();
  const auto written = state_->write_frame(FrameKind::note, encode_note(note));
  return flushed ? written : flushed;
}

Result<void> JournalWriter::gap(const Gap& gap) {
  const auto flushed = flush();
  const auto written = state_->write_frame(FrameKind::gap, encode_gap(gap));
  return flushed ? written : flushed;
}

Result<void> JournalWriter::clock_pair(const ClockPair& pair) {
  const auto flushed = flush();
  const auto written = state_->write_frame(FrameKind::clock_pair, encode_clock_pair(pair));
  return flushed ? written : flushed;
}

Result<void> JournalWriter::end(BenchTime when, const std::string& why) {
  const auto synced = sync();
  auto& s = *state_;
  s.totals.when = when;
  s.totals.why = why;
  if (auto written = s.write_frame(FrameKind::end, encode_end(s.totals)); !written) return written;
  const auto last = s.sync();
  return synced ? last : synced;
}

Duration JournalWriter::unsynced() const {
  return state_->unsynced_since ? state_->clock.now() - *state_->unsynced_since : Duration{};
}
std::uint64_t JournalWriter::bytes_written() const { return state_->bytes; }
unsigned JournalWriter::segments() const { return state_->segment; }
std::uint64_t JournalWriter::records_lost() const { return state_->all_lost; }
const StreamHeader& JournalWriter::header() const { return state_->header; }

bool JournalSink::put(const Record& record) noexcept try {
  if (!outcome_) return false;
  outcome_ = writer_.put(record);
  // By the loop's own time: a sample's stamp may lie anywhere.
  if (outcome_ && record.kind == Record::Kind::tick && passed(flushed_, record.tick.due) >= flush_every) {
    outcome_ = writer_.flush();
    flushed_ = record.tick.due;
  }
  return outcome_.has_value();
} catch (const std::exception& e) {
  outcome_ = fail(Fault::internal, std::string{"recording failed: "} + e.what());
  return false;
}

}  // namespace trackrod
