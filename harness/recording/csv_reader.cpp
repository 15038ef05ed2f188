#include "harness/recording/csv_reader.hpp"

namespace trackrod {
namespace {

constexpr std::size_t most_fields = 65536;

}  // namespace

CsvReader::CsvReader(ByteSource source, char separator) : text_{std::move(source)}, separator_{separator} {
  for (const char c : {separator, '"', '\r', '\n', '\0'}) ends_plain_[static_cast<unsigned char>(c)] = true;
  for (const char c : {'"', '\n', '\0'}) ends_quoted_[static_cast<unsigned char>(c)] = true;
}

Result<bool> CsvReader::skip_line() {
  const bool there = text_.peek() != TextLines::end;
  if (auto line = text_.take_line(); !line) return tl::unexpected<Error>{line.error()};
  return there;
}

// Cells keep their memory from record to record.
std::string& CsvReader::fresh() {
  if (used_ == cells_.size()) cells_.emplace_back();
  auto& cell = cells_[used_++];
  cell.clear();
  return cell;
}

Result<bool> CsvReader::next() {
  used_ = 0;
  quoted_ = false;
  line_ = text_.line();
  if (text_.peek() == TextLines::end) {
    if (!text_.state()) return tl::unexpected<Error>{text_.state().error()};
    return false;
  }
  for (;;) {
    if (used_ == most_fields) return bad_line(line_, "more than " + std::to_string(most_fields) + " fields");
    auto& cell = fresh();
    if (auto read = text_.peek() == '"' ? read_quoted(cell) : read_plain(cell); !read)
      return tl::unexpected<Error>{read.error()};
    const auto at = text_.line();
    const int byte = text_.take();
    if (byte == static_cast<unsigned char>(separator_)) continue;
    if (!text_.state()) return tl::unexpected<Error>{text_.state().error()};
    if (byte == TextLines::end || byte == '\n') return true;
    if (byte == '\r') {
      if (text_.take() == '\n') return true;
      return bad_line(at, "a CR that no LF follows; allowed: lines that end with CR LF or with LF");
    }
    if (byte == '\0') return bad_line(at, "a zero byte; is this a text file? If it is UTF-16, save it as UTF-8");
    if (byte == '"')
      return bad_line(at,
                      "a quote inside a field that does not begin with one; allowed: fields in quotes as a whole, with "
                      "each quote inside them doubled");
    return bad_line(at, std::string{"'"} + static_cast<char>(byte) +
                            "' behind a closing quote; allowed: the separator '" + separator_ +
                            "' or the end of the line; a quote inside quotes is written twice");
  }
}

Result<void> CsvReader::read_plain(std::string& cell) {
  for (;;) {
    const auto piece = text_.take_until(ends_plain_);
    if (piece.empty()) return {};
    cell += piece;
    if (cell.size() > longest_text)
      return bad_line(line_, "a field of more than " + std::to_string(longest_text) + " characters");
  }
}

Result<void> CsvReader::read_quoted(std::string& cell) {
  quoted_ = true;
  const auto from = text_.line();
  text_.take();
  for (;;) {
    cell += text_.take_until(ends_quoted_);
    if (cell.size() > longest_text)
      return bad_line(from, "a quoted field of more than " + std::to_string(longest_text) +
                                " characters; is its closing quote missing?");
    const int byte = text_.peek();
    if (byte == TextLines::end) {
      if (!text_.state()) return text_.state();
      return bad_line(from, "a quoted field begins here and does not end; its closing quote is missing");
    }
    if (byte == '\0') return {};  // the caller tells
    text_.take();
    if (byte == '"') {
      if (text_.peek() != '"') return {};
      text_.take();
    }
    cell += static_cast<char>(byte);
  }
}

}  // namespace trackrod
