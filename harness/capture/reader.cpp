#include "harness/capture/reader.hpp"

#include <fcntl.h>
#include <sys/stat.h>
#include <unistd.h>

#include <algorithm>
#include <cerrno>
#include <filesystem>

namespace trackrod {
namespace {

constexpr std::size_t search_chunk = 64U << 10;

// Read at a time: large against a block, small against what a step of a plan takes.
constexpr std::size_t window_size = 64U << 10;

}  // namespace

std::string Loss::sentence() const {
  std::string s = "journal '" + segment + "': ";
  if (bytes > 0) s += std::to_string(bytes) + " bytes at " + std::to_string(offset) + " passed over: " + why;
  if (missing == 0) return s;
  if (bytes > 0) s += "; ";
  s += missing == 1 ? "frame " + std::to_string(first_missing) + " is missing"
                    : "frames " + std::to_string(first_missing) + " to " + std::to_string(first_missing + missing - 1) +
                          " are missing";
  return bytes > 0 ? s : s + " before byte " + std::to_string(offset);
}

Result<JournalReader> JournalReader::open(const std::string& dir) {
  namespace fs = std::filesystem;
  std::vector<std::string> segments;
  std::error_code error;
  for (fs::directory_iterator it{dir, error}, end; !error && it != end; it.increment(error))
    if (it->path().extension() == ".trj") segments.push_back(it->path().string());
  if (error) return fail_os(Fault::storage, "the journal's folder '" + dir + "' could not be read", error.value());
  if (segments.empty())
    return fail(Fault::storage, "'" + dir + "' holds no journal (no segment-0001.trj): name a run's journal folder");
  // By length first: segment-10000 comes after segment-9999.
  std::sort(segments.begin(), segments.end(), [](const std::string& a, const std::string& b) {
    return a.size() != b.size() ? a.size() < b.size() : a < b;
  });
  return over(std::move(segments));
}

Result<JournalReader> JournalReader::over(std::vector<std::string> segments, std::size_t first) {
  JournalReader reader;
  reader.segments_ = std::move(segments);
  if (auto opened = reader.open_segment(first); !opened) return tl::unexpected{opened.error()};
  return reader;
}

Result<void> JournalReader::open_segment(std::size_t index) {
  file_ = FileDescriptor{::open(segments_[index].c_str(), O_RDONLY | O_CLOEXEC)};
  struct stat info {};
  if (!file_.valid() || fstat(file_.get(), &info) != 0)
    return fail_os(Fault::storage, "the journal's segment '" + segments_[index] + "' could not be opened", errno);
  segment_ = index;
  offset_ = 0;
  window_.clear();
  size_ = static_cast<std::uint64_t>(info.st_size);
  return {};
}

// As many of `count` bytes at `offset` as there are; valid until the next call.
Bytes JournalReader::read_at(std::uint64_t offset, std::size_t count) {
  count = std::min<std::uint64_t>(count, size_ - std::min(offset, size_));
  if (offset < window_at_ || offset + count > window_at_ + window_.size()) {
    window_at_ = offset;
    window_.resize(std::max(count, window_size));
    std::size_t done = 0;
    while (done < window_.size()) {
      const auto n =
          pread(file_.get(), window_.data() + done, window_.size() - done, static_cast<off_t>(offset + done));
      if (n < 0 && errno == EINTR) continue;
      if (n <= 0) break;  // a sector that cannot be read is damage like any other
      done += static_cast<std::size_t>(n);
    }
    window_.resize(done);
  }
  const auto from = offset - window_at_;
  return Bytes{window_}.subspan(from, std::min(count, window_.size() - from));
}

// Empty when a whole frame begins at `offset`, else why not.
std::string JournalReader::try_frame(std::uint64_t offset, Frame& frame) {
  const auto head = read_at(offset, frame_header_size);
  const auto header = parse_frame_header(head);
  if (!header && head.size() < frame_header_size) return "the file ends within a frame's header";
  if (!header) return "no frame begins here, or its header is damaged";
  frame.header = *header;
  frame.place = {segment_, offset};
  frame.payload = read_at(offset + frame_header_size, header->length);
  if (frame.payload.size() < header->length)
    return "the file ends within frame " + std::to_string(header->sequence) + " (" + frame_kind_name(header->kind) +
           ")";
  if (crc32c(frame.payload) != header->payload_checksum)
    return "frame " + std::to_string(header->sequence) + " (" + frame_kind_name(header->kind) +
           ") is damaged: its checksum is wrong";
  return "";
}

// The offset of the next good frame from `offset` on, or the end of the segment.
std::uint64_t JournalReader::find_frame(std::uint64_t offset, Frame& frame) {
  while (offset < size_) {
    const auto chunk = read_at(offset, search_chunk);
    if (chunk.empty()) offset += search_chunk;  // not readable: go on behind it
    const auto found = find_magic(chunk);
    offset += found;
    if (found == chunk.size()) continue;
    if (try_frame(offset, frame).empty()) return offset;
    ++offset;
  }
  return size_;
}

void JournalReader::close_loss() {
  if (damage_) losses_.push_back(std::move(*damage_));
  damage_.reset();
}

// Keeps the books of sequence numbers; false for a frame that was there before.
bool JournalReader::in_order(const Frame& frame) {
  const auto sequence = frame.header.sequence;
  const auto expected = expected_.value_or(sequence);
  if (sequence < expected) {
    close_loss();
    losses_.push_back({segments_[segment_], frame.place.offset, frame_header_size + frame.payload.size(), 0, 0,
                       "frame " + std::to_string(sequence) + " stands a second time, or out of order"});
    return false;
  }
  if (sequence > expected) {
    if (!damage_) damage_ = Loss{segments_[segment_], frame.place.offset, 0, 0, 0, ""};
    damage_->first_missing = expected;
    damage_->missing = sequence - expected;
  }
  close_loss();
  const auto left_out = frame.header.kind == FrameKind::left_out ? decode_left_out(frame.payload) : std::nullopt;
  expected_ = sequence + (left_out ? left_out->frames : 1);
  return true;
}

bool JournalReader::known(const Frame& frame) {
  const auto& h = frame.header;
  if (h.version == frame_version && h.kind >= FrameKind::header && h.kind <= FrameKind::left_out) return true;
  reject(frame, "frame " + std::to_string(h.sequence) + " has version " + std::to_string(h.version) + ", " +
                    frame_kind_name(h.kind) + ", which this program does not know");
  return false;
}

void JournalReader::reject(const Frame& frame, const std::string& why) {
  losses_.push_back({segments_[frame.place.segment], frame.place.offset, frame_header_size + frame.payload.size(),
                     frame.header.sequence, 1, why});
}

std::optional<Frame> JournalReader::next() {
  Frame frame;
  for (;;) {
    if (offset_ >= size_) {
      if (segment_ + 1 == segments_.size()) break;
      if (auto opened = open_segment(segment_ + 1); !opened) {
        close_loss();
        losses_.push_back({segments_[segment_ + 1], 0, 0, 0, 0, opened.error().context});
        break;
      }
      continue;
    }
    const auto bad = try_frame(offset_, frame);
    if (!bad.empty()) {
      const auto good = find_frame(offset_ + 1, frame);
      close_loss();
      damage_ = Loss{segments_[segment_], offset_, good - offset_, 0, 0, bad};
      offset_ = good;
      continue;
    }
    offset_ += frame_header_size + frame.payload.size();
    if (in_order(frame) && known(frame)) return frame;
  }
  close_loss();
  return std::nullopt;
}

void JournalReader::seek(FramePlace place) {
  losses_.clear();
  damage_.reset();
  expected_.reset();
  if (place.segment != segment_ || !file_.valid())
    if (!open_segment(place.segment)) size_ = 0;
  offset_ = place.offset;
}

}  // namespace trackrod
