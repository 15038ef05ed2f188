#pragma once
// A text file, piece by piece: its bytes one at a time, counted by lines.

#include <cstdint>
#include <string>
#include <string_view>
#include <vector>

#include "harness/recording/byte_source.hpp"

namespace trackrod {

// Memory does not grow with the file. One thread. May block where the source does.
class TextLines {
 public:
  explicit TextLines(ByteSource source);

  static constexpr int end = -1;
  // The next byte as 0 to 255, or `end`; also `end` once the source has failed. peek() leaves it where it is.
  int peek() { return next_ < filled_ || fill() ? static_cast<unsigned char>(buffer_[next_]) : end; }
  int take() {
    const int byte = peek();
    if (byte == end) return end;
    ++next_;
    if (byte == '\n') ++line_;
    return byte;
  }
  // What of the buffered bytes comes before the first one that `stops` holds. They are taken; no line end is among
  // them, so `stops` must hold it. Empty: the next byte is such a one, or there is none.
  std::string_view take_until(const bool (&stops)[256]);
  // Takes the rest of the line and its end, LF or CR LF; the text without them. Error kind bad_input when it is longer
  // than any line that people or loggers write.
  Result<std::string_view> take_line();

  // Of the next byte, from 1.
  std::uint64_t line() const { return line_; }
  // The file began with the byte order mark of UTF-8, which is skipped.
  bool marked() const { return marked_; }
  // Whether all went well so far. Error kinds: storage from the source, bad_input for text in UTF-16.
  const Result<void>& state() const { return state_; }

 private:
  bool fill();
  void look_at_start();

  ByteSource source_;
  std::vector<char> buffer_;
  std::size_t next_{0}, filled_{0};
  std::uint64_t line_{1};
  bool started_{false}, marked_{false};
  Result<void> state_;
  std::string text_;
};

// Longest cell and longest line: what is longer is no recording, and must not fill the memory.
inline constexpr std::size_t longest_text = 1 << 20;

// "line 12: " in front of a sentence.
inline tl::unexpected<Error> bad_line(std::uint64_t line, const std::string& sentence) {
  return fail(Fault::bad_input, "line " + std::to_string(line) + ": " + sentence);
}

}  // namespace trackrod
