#include "harness/recording/text_lines.hpp"

namespace trackrod {

TextLines::TextLines(ByteSource source) : source_{std::move(source)}, buffer_(1 << 16) {}

bool TextLines::fill() {
  if (!state_) return false;
  next_ = filled_ = 0;
  do {
    const auto n = source_({buffer_.data() + filled_, buffer_.size() - filled_});
    if (!n) return state_ = tl::unexpected<Error>{n.error()}, false;
    if (*n == 0) break;
    filled_ += *n;
  } while (!started_ && filled_ < 3);
  if (!started_) look_at_start();
  // Nothing but the mark came in the first piece: the next one follows.
  return state_ && (next_ < filled_ || (filled_ > 0 && fill()));
}

void TextLines::look_at_start() {
  started_ = true;
  const std::string_view start{buffer_.data(), filled_};
  if (start.starts_with("\xEF\xBB\xBF")) {
    marked_ = true;
    next_ = 3;
  } else if (start.starts_with("\xFF\xFE") || start.starts_with("\xFE\xFF")) {
    state_ =
        fail(Fault::bad_input,
             "the text is in UTF-16, two bytes a character; allowed: UTF-8 or a code of one byte a character; save "
             "it as UTF-8");
  }
}

std::string_view TextLines::take_until(const bool (&stops)[256]) {
  if (peek() == end) return {};
  const auto from = next_;
  while (next_ < filled_ && !stops[static_cast<unsigned char>(buffer_[next_])]) ++next_;
  return {buffer_.data() + from, next_ - from};
}

Result<std::string_view> TextLines::take_line() {
  static constexpr auto line_ends = [] {
    struct Table {
      bool stops[256]{};
    } table;
    table.stops[static_cast<unsigned char>('\n')] = true;
    return table;
  }();
  text_.clear();
  const auto at = line_;
  while (peek() != end && peek() != '\n') {
    text_ += take_until(line_ends.stops);
    if (text_.size() > longest_text)
      return bad_line(at, "it has more than " + std::to_string(longest_text) + " characters; is this a text file?");
  }
  take();
  if (!text_.empty() && text_.back() == '\r') text_.pop_back();
  if (!state_) return tl::unexpected<Error>{state_.error()};
  return std::string_view{text_};
}

}  // namespace trackrod
