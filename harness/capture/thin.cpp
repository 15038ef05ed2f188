#include "harness/capture/thin.hpp"

#include <fcntl.h>
#include <sys/stat.h>
#include <unistd.h>

#include <algorithm>
#include <cerrno>
#include <optional>

#include "harness/capture/block.hpp"
#include "harness/capture/files.hpp"
#include "harness/capture/reader.hpp"

namespace trackrod {
namespace {

constexpr std::size_t written_at_once = 1U << 20;

// The stretch of neighbouring blocks that is being left out.
class Stretch {
 public:
  explicit Stretch(const StreamHeader& header) : blocks_{header.signals} {}

  bool is_empty() const { return open_.frames == 0; }
  // False when the block does not decode, or does not lie within `leave_out`: it stays.
  bool take(const Frame& frame, std::span<const TimeRange> leave_out) {
    LeftOut block;
    std::uint64_t ticks = 0;
    const auto range = blocks_.visit(
        frame.payload, {nullptr, [&](std::span<const Tick> all) { ticks += all.size(), add(all, block); }, no_signal,
                        [&](const StampGroup& group) { block.samples += group.signals.size() * group.when.size(); }});
    if (!range) return false;
    const auto within = std::ranges::partition_point(leave_out, [&](const TimeRange& r) { return r.to < range->to; });
    if (within == leave_out.end() || within->from > range->from) return false;
    block.from = range->from;
    block.to = range->to;
    block.ticks = ticks;
    join(block, frame.header.sequence);
    return true;
  }
  std::string end() {
    const auto frame = make_frame(FrameKind::left_out, sequence_, encode_left_out(open_));
    open_ = {};
    return frame;
  }

 private:
  static void add(std::span<const Tick> ticks, LeftOut& block) {
    block.first_tick = ticks.front().number;
    block.last_tick = ticks.back().number;
    block.missed = block.last_tick - block.first_tick + 1 - ticks.size();
    for (const auto& t : ticks) {
      block.late_max = std::max(block.late_max, Duration{t.late_ns});
      block.work_max = std::max(block.work_max, Duration{t.work_ns});
      if (t.input_age_ns != UINT32_MAX) block.input_age_max = std::max(block.input_age_max, Duration{t.input_age_ns});
    }
  }
  void join(const LeftOut& block, std::uint64_t sequence) {
    auto& all = open_.what;
    if (open_.frames++ == 0) {
      sequence_ = sequence;
      all = block;
    } else {
      all.absorb(block);
    }
  }

  BlockReader blocks_;
  LeftOutFrames open_;
  std::uint64_t sequence_{0};
};

class Rewriter {
 public:
  static Result<Rewriter> create(const std::string& path) {
    Rewriter r;
    r.path_ = path;
    r.file_ = FileDescriptor{open(path.c_str(), O_WRONLY | O_CREAT | O_TRUNC | O_CLOEXEC, 0644)};
    if (!r.file_.valid()) return fail_os(Fault::storage, "the segment '" + path + "' could not be made", errno);
    return r;
  }
  Result<void> put(std::string_view frame) {
    waiting_ += frame;
    return waiting_.size() < written_at_once ? Result<void>{} : finish();
  }
  Result<void> finish() {
    auto written = write_all(file_.get(), waiting_, path_);
    waiting_.clear();
    return written;
  }

 private:
  std::string path_, waiting_;
  FileDescriptor file_;
};

std::uint64_t size_of(const std::string& path) {
  struct stat info {};
  return stat(path.c_str(), &info) == 0 ? static_cast<std::uint64_t>(info.st_size) : 0;
}

std::string whole(const Frame& frame) {
  return make_frame(frame.header.kind, frame.header.sequence, {frame.payload.begin(), frame.payload.end()});
}

Result<StreamHeader> header_of(const std::string& path) {
  auto reader = JournalReader::over({path});
  if (!reader) return tl::unexpected{reader.error()};
  const auto first = reader->next();
  if (!first || first->header.kind != FrameKind::header)
    return fail(Fault::storage, "the segment '" + path + "' does not begin with a stream header");
  return stream_header_from_json({first->payload.begin(), first->payload.end()});
}

}  // namespace

Result<std::uint64_t> thin_segment(const std::string& path, std::span<const TimeRange> leave_out) {
  const auto header = header_of(path);
  if (!header) return tl::unexpected{header.error()};
  auto reader = JournalReader::over({path});
  if (!reader) return tl::unexpected{reader.error()};
  const auto part = path + ".part";
  auto out = Rewriter::create(part);
  if (!out) return tl::unexpected{out.error()};
  reader->seek({});  // the sequence goes on from an earlier segment
  Stretch stretch{*header};
  const auto close = [&]() -> Result<void> { return stretch.is_empty() ? Result<void>{} : out->put(stretch.end()); };
  while (const auto frame = reader->next()) {
    if (frame->header.kind == FrameKind::block && stretch.take(*frame, leave_out)) continue;
    if (auto closed = close(); !closed) return tl::unexpected{closed.error()};
    if (auto put = out->put(whole(*frame)); !put) return tl::unexpected{put.error()};
  }
  if (auto closed = close(); !closed) return tl::unexpected{closed.error()};
  if (auto finished = out->finish(); !finished) return tl::unexpected{finished.error()};
  if (!reader->losses().empty()) {
    unlink(part.c_str());
    return 0;
  }
  const auto before = size_of(path), after = size_of(part);
  if (auto renamed = sync_and_rename(part, path); !renamed) return tl::unexpected{renamed.error()};
  return before - std::min(before, after);
}

}  // namespace trackrod
