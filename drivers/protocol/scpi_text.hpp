#pragma once
// The texts of IEEE 488.2 / SCPI-1999: lines, numbers, entries of the error queue.

#include <cstddef>
#include <optional>
#include <span>
#include <string>
#include <string_view>

#include "drivers/protocol/scpi_block.hpp"

namespace trackrod {

// A numeric answer: NR1 "42", NR2 "12.50", NR3 "1.25E+1", or ON / OFF. Not a number where the instrument says that it
// has none: NAN, INF, NINF, 9.91E37 and +-9.9E37 (SCPI-1999). Nothing when the text is no number.
std::optional<double> read_number(std::string_view text) noexcept;

// The same, of an answer that is a list of numbers which are all alike, as the state of several relays. Not a number
// when they differ; nothing when there is a text among them.
std::optional<double> read_same_numbers(std::string_view text) noexcept;
// An infinite or undefined value as SCPI-1999 sends it (9.9E37, 9.91E37) becomes not a number.
double known_value(double value) noexcept;

// The number of an entry of the error queue, as in `-113,"Undefined header"`. Nothing when the text is no such entry.
std::optional<int> read_error_entry(std::string_view text) noexcept;

inline constexpr double largest_number = 1e12;
// What is sent for `value`: rounded to `digits` behind the point, at most largest_number in size.
double rounded(double value, int digits) noexcept;
// Appends it, "13.5000". Allocates only when `out` has no room.
void append_number(std::string& out, double value, int digits) noexcept;

// Cuts a stream of bytes into lines that end in LF, CR or CR LF. Empty lines are left out.
class LineReader {
 public:
  static constexpr std::size_t longest = 255;

  // Takes bytes up to the end of a line from the front of `bytes`. The line, without its end and blanks around it, is
  // valid until the next call; nothing when there is none yet. `too_long` is set when a line was dropped for its
  // length. `block`: the line may begin with a definite-length block, whose bytes are taken as they are.
  std::optional<std::string_view> next(std::span<const std::byte>& bytes, bool block, bool& too_long) noexcept;
  // Forgets the line that is not complete.
  void drop() noexcept { size_ = block_left_ = 0; }

 private:
  char line_[longest_block_header + longest_block]{};
  std::size_t size_{0};        // longest + 1: too long, the rest is dropped
  std::size_t block_left_{0};  // bytes of a block that are still to come
};

}  // namespace trackrod
