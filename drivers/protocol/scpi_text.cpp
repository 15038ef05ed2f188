#include "drivers/protocol/scpi_text.hpp"

#include <algorithm>
#include <array>
#include <cctype>
#include <charconv>
#include <cmath>
#include <limits>
#include <utility>

namespace trackrod {
namespace {

constexpr double no_value = 9.9e37;  // SCPI-1999: infinity is 9.9E37, not a number 9.91E37

std::string_view without_blanks(std::string_view t) {
  const auto is_blank = [](char c) { return c == ' ' || c == '\t'; };
  while (!t.empty() && is_blank(t.front())) t.remove_prefix(1);
  while (!t.empty() && is_blank(t.back())) t.remove_suffix(1);
  return t;
}

// Letters alike, without regard to capitals.
bool same_text(std::string_view a, std::string_view b) {
  return std::equal(a.begin(), a.end(), b.begin(), b.end(), [](char x, char y) {
    return std::toupper(static_cast<unsigned char>(x)) == std::toupper(static_cast<unsigned char>(y));
  });
}

}  // namespace

std::optional<double> read_number(std::string_view text) noexcept {
  text = without_blanks(text);
  if (same_text(text, "ON")) return 1.0;
  if (same_text(text, "OFF")) return 0.0;
  for (const char* none : {"NAN", "INF", "+INF", "-INF", "NINF"})
    if (same_text(text, none)) return std::numeric_limits<double>::quiet_NaN();
  // from_chars also knows words such as "infinity", but no '+': a number begins with a digit or a point behind one
  // sign.
  const bool has_sign = !text.empty() && (text.front() == '+' || text.front() == '-');
  const auto digits = has_sign ? text.substr(1) : text;
  if (digits.empty() || (digits.front() != '.' && std::isdigit(static_cast<unsigned char>(digits.front())) == 0))
    return {};
  if (text.front() == '+') text = digits;
  double value{};
  const auto [end, error] = std::from_chars(text.data(), text.data() + text.size(), value);
  if (error != std::errc{} || end != text.data() + text.size()) return {};
  return known_value(value);
}

std::optional<double> read_same_numbers(std::string_view text) noexcept {
  const auto comma = std::min(text.find(','), text.size());
  auto first = read_number(text.substr(0, comma));
  if (!first || comma == text.size()) return first;
  const auto rest = read_same_numbers(text.substr(comma + 1));
  if (!rest) return rest;
  return *first == *rest ? *first : std::numeric_limits<double>::quiet_NaN();
}

double known_value(double value) noexcept {
  return std::abs(value) < no_value ? value : std::numeric_limits<double>::quiet_NaN();
}

std::optional<int> read_error_entry(std::string_view text) noexcept {
  text = without_blanks(text);
  if (!text.empty() && text.front() == '+') text.remove_prefix(1);
  int code{};
  const auto [end, error] = std::from_chars(text.data(), text.data() + text.size(), code);
  if (error != std::errc{} || end == text.data() + text.size() || *end != ',') return {};
  return code;
}

double rounded(double value, int digits) noexcept {
  double step = 1.0;
  for (int i = 0; i < digits; ++i) step *= 10.0;
  return std::round(std::clamp(value, -largest_number, largest_number) * step) / step + 0.0;  // + 0.0: no "-0"
}

void append_number(std::string& out, double value, int digits) noexcept {
  std::array<char, 40> text;  // sign, 13 digits, point, 9 digits
  const auto end =
      std::to_chars(text.data(), text.data() + text.size(), rounded(value, digits), std::chars_format::fixed, digits)
          .ptr;
  out.append(text.data(), end);
}

std::optional<std::string_view> LineReader::next(std::span<const std::byte>& bytes, bool block,
                                                 bool& too_long) noexcept {
  while (!bytes.empty()) {
    const auto c = static_cast<char>(bytes.front());
    bytes = bytes.subspan(1);
    if (block_left_ > 0) {
      line_[size_++] = c;
      if (--block_left_ > 0) continue;
      return std::string_view{line_, std::exchange(size_, 0)};  // the line end behind it is an empty line
    }
    if (c != '\n' && c != '\r') {
      if (size_ < longest) line_[size_] = c;
      size_ = std::min(size_ + 1, longest + 1);
      if (const auto header = block ? read_block_header({line_, std::min(size_, longest)}) : std::nullopt)
        block_left_ = header->data;
      continue;
    }
    const auto size = std::exchange(size_, 0);
    if (size > longest) {
      too_long = true;
      continue;
    }
    const auto line = without_blanks({line_, size});
    if (!line.empty()) return line;
  }
  return {};
}

}  // namespace trackrod
