#pragma once
// Reads the frames of a journal in order, whatever state it is in: finds the next good frame after damage and says what
// it passed over and why. Never changes the files. The format: docs/formats/journal.md.

#include <optional>
#include <string>
#include <vector>

#include "harness/base/error.hpp"
#include "harness/capture/files.hpp"
#include "harness/capture/frame.hpp"

namespace trackrod {

// Where a frame begins.
struct FramePlace {
  std::size_t segment{0};  // index into JournalReader::segments()
  std::uint64_t offset{0};
};

struct Frame {
  FrameHeader header;
  FramePlace place;
  Bytes payload;  // valid until the reader is asked for the next frame
};

// What a reader could not use: bytes passed over, frames that are missing by their sequence numbers, or both.
struct Loss {
  std::string segment;  // path
  std::uint64_t offset{0}, bytes{0};
  std::uint64_t first_missing{0}, missing{0};  // frames by sequence number
  std::string why;
  // For people: where, how much, why.
  std::string sentence() const;
};

class JournalReader {
 public:
  // Error kind storage: no folder, no segment in it, or the first one cannot be opened.
  static Result<JournalReader> open(const std::string& dir);
  // As above, over the segments that another reader found, from the one with this index on.
  static Result<JournalReader> over(std::vector<std::string> segments, std::size_t first = 0);

  // The next frame that counts: checksums good, version and kind known. Empty at the end of the journal.
  std::optional<Frame> next();
  // The frame whose checksums agree but whose payload does not decode: counts as lost.
  void reject(const Frame& frame, const std::string& why);
  // Grows while frames are read; what the end of the journal lacks is added when next() has come to the end.
  const std::vector<Loss>& losses() const { return losses_; }
  const std::vector<std::string>& segments() const { return segments_; }

  // From `place` on, as if nothing stood before; losses are counted anew.
  void seek(FramePlace place);
  FramePlace position() const { return {segment_, offset_}; }

 private:
  JournalReader() = default;
  Bytes read_at(std::uint64_t offset, std::size_t count);
  std::string try_frame(std::uint64_t offset, Frame& frame);
  std::uint64_t find_frame(std::uint64_t offset, Frame& frame);
  bool in_order(const Frame& frame);
  bool known(const Frame& frame);
  Result<void> open_segment(std::size_t index);
  void close_loss();

  std::vector<std::string> segments_;
  std::size_t segment_{0};
  FileDescriptor file_;
  std::uint64_t size_{0}, offset_{0};
  std::vector<std::uint8_t> window_;  // what was read of the file, from window_at_ on
  std::uint64_t window_at_{0};
  std::optional<std::uint64_t> expected_{0};  // sequence of the next frame; empty after a seek
  std::optional<Loss> damage_;                // bytes passed over since the last good frame
  std::vector<Loss> losses_;
};

}  // namespace trackrod
