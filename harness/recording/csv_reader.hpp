#pragma once
// Records of a CSV file, after RFC 4180, read one at a time.
//
// Beyond the RFC: lines may end with LF alone; the separator may be another one; the count of fields is left to the
// caller, who knows how many there should be. Stricter than many: a quote inside an unquoted field, text behind a
// closing quote, a CR without its LF and a zero byte are errors, since no reading of them is surely what was meant.

#include <span>
#include <string>
#include <vector>

#include "harness/recording/text_lines.hpp"

namespace trackrod {

class CsvReader {
 public:
  // `separator`: neither a quote nor a line end.
  CsvReader(ByteSource source, char separator);

  // Skips a line as text, quotes or not; false when there is none. For what stands above the table.
  Result<bool> skip_line();
  // Reads the next record; false at the end of the file. Error kinds: bad_input, with the line; storage.
  Result<bool> next();
  // Of the record that was read. Valid until the next call.
  std::span<const std::string> fields() const { return {cells_.data(), used_}; }
  // A line without a single character, which the RFC does not tell from a record of one empty field.
  bool blank() const { return used_ == 1 && cells_.front().empty() && !quoted_; }
  std::uint64_t line() const { return line_; }  // on which it begins
  bool marked() const { return text_.marked(); }

 private:
  std::string& fresh();
  Result<void> read_quoted(std::string& cell);
  Result<void> read_plain(std::string& cell);

  TextLines text_;
  char separator_;
  bool ends_plain_[256]{};   // what ends a piece of an unquoted field
  bool ends_quoted_[256]{};  // of a quoted one
  std::vector<std::string> cells_;
  std::size_t used_{0};
  bool quoted_{false};
  std::uint64_t line_{1};
};

}  // namespace trackrod
