#pragma once
// The texts of IEEE 488.2 / SCPI-1999: lines, numbers, entries of the error queue.

#include <cstddef>
#include <optional>
#include <span>
#include <string>
#include <string_view>

namespace trackrod {

// A numeric answer: NR1 "42", NR2 "12.50", NR3 "1.25E+1", or ON / OFF. Not a number where the instrument says that it
// has none: NAN, INF, NINF, 9.91E37 and +-9.9E37 (SCPI-1999). Nothing when the text is no number.
std::optional<double> read_number(std::string_view text) noexcept;

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
  // length.
  std::optional<std::string_view> next(std::span<const std::byte>& bytes, bool& too_long) noexcept;

 private:
  char line_[longest + 1]{};
  std::size_t size_{0};  // longest + 1: too long, the rest is dropped
};

}  // namespace trackrod
