#include "harness/report/text.hpp"

#include <algorithm>
#include <array>
#include <charconv>
#include <cstdint>

namespace trackrod {
namespace {

constexpr std::string_view replacement = "\xEF\xBF\xBD";  // U+FFFD

// One code point and the bytes that spell it; length 1 and code 0xFFFD where they are no UTF-8.
struct CodePoint {
  std::uint32_t code{0xFFFD};
  std::size_t length{1};
};

CodePoint code_point_at(std::string_view text, std::size_t at) {
  const auto byte = [&](std::size_t i) { return static_cast<unsigned char>(text[i]); };
  const unsigned char lead = byte(at);
  if (lead < 0x80) return {lead, 1};
  const std::size_t length = lead >= 0xF0 ? 4 : lead >= 0xE0 ? 3 : 2;
  if (lead < 0xC2 || lead > 0xF4 || at + length > text.size()) return {};
  std::uint32_t code = lead & (0xFFU >> (length + 1));
  for (std::size_t i = 1; i < length; ++i) {
    if ((byte(at + i) & 0xC0) != 0x80) return {};
    code = code << 6 | (byte(at + i) & 0x3FU);
  }
  const bool overlong = (length == 3 && code < 0x800) || (length == 4 && code < 0x10000);
  const bool surrogate = code >= 0xD800 && code <= 0xDFFF;
  if (overlong || surrogate || code > 0x10FFFF) return {};
  return {code, length};
}

bool allowed_in_xml(std::uint32_t code) {
  if (code < 0x20) return code == '\t' || code == '\n' || code == '\r';
  return code != 0xFFFE && code != 0xFFFF;
}

}  // namespace

std::string escaped(std::string_view text) {
  std::string out;
  out.reserve(text.size());
  for (std::size_t i = 0; i < text.size();) {
    const auto [code, length] = code_point_at(text, i);
    switch (code) {
      case '<':
        out += "&lt;";
        break;
      case '>':
        out += "&gt;";
        break;
      case '&':
        out += "&amp;";
        break;
      case '"':
        out += "&quot;";
        break;
      case '\'':
        out += "&#39;";
        break;
      case 0xFFFD:
        out += replacement;
        break;
      default:
        out += allowed_in_xml(code) ? text.substr(i, length) : replacement;
    }
    i += length;
  }
  return out;
}

std::size_t columns(std::string_view text) {
  std::size_t count = 0;
  for (std::size_t i = 0; i < text.size(); i += code_point_at(text, i).length) ++count;
  return count;
}

std::string padded(const std::string& text, std::size_t width) {
  const std::size_t taken = columns(text);
  return taken < width ? text + std::string(width - taken, ' ') : text;
}

std::string grid(const std::vector<std::vector<std::string>>& rows) {
  std::vector<std::size_t> widths;
  for (const auto& row : rows) {
    widths.resize(std::max(widths.size(), row.size()));
    for (std::size_t i = 0; i < row.size(); ++i) widths[i] = std::max(widths[i], columns(row[i]));
  }
  std::string text;
  for (const auto& row : rows) {
    std::string line;
    for (std::size_t i = 0; i < row.size(); ++i) line += padded(row[i], widths[i]) + "  ";
    line.erase(line.find_last_not_of(' ') + 1);
    text += line + "\n";
  }
  return text;
}

std::vector<std::string> wrapped(const std::string& text, std::size_t width) {
  std::vector<std::string> lines{""};
  std::size_t used = 0;
  std::string word;
  const auto place = [&] {
    if (word.empty()) return;
    const std::size_t wide = columns(word);
    if (used > 0 && used + 1 + wide > width) lines.emplace_back(), used = 0;
    if (used > 0) lines.back() += ' ', ++used;
    for (std::size_t i = 0; i < word.size();) {
      const std::size_t length = code_point_at(word, i).length;
      if (used == width) lines.emplace_back(), used = 0;
      lines.back().append(word, i, length);
      i += length;
      ++used;
    }
    word.clear();
  };
  for (const char c : text) {
    if (static_cast<unsigned char>(c) <= 0x20 || c == 0x7F)  // control characters must not reach a terminal
      place();
    else
      word += c;
  }
  place();
  return lines;
}

std::string ascii_only(std::string_view text) {
  struct Spelling {
    std::uint32_t code;
    std::string_view ascii;
  };
  static constexpr Spelling spelt[] = {{0xB1, "+-"},    {0x2264, "<="}, {0x2265, ">="}, {0x2013, "-"}, {0x2212, "-"},
                                       {0x2026, "..."}, {0xD7, "x"},    {0xB0, "deg"},  {0xB5, "u"},   {0x2502, "|"},
                                       {0x2524, "+"},   {0x2514, "+"},  {0x2500, "-"}};
  std::string out;
  for (std::size_t i = 0; i < text.size();) {
    const auto [code, length] = code_point_at(text, i);
    if (code < 0x80) {
      out += static_cast<char>(code);
    } else {
      std::string_view sign = "?";
      for (const auto& s : spelt)
        if (s.code == code) sign = s.ascii;
      out += sign;
    }
    i += length;
  }
  return out;
}

std::string fixed(double value, int decimals) {
  std::array<char, 400> buffer{};  // the largest double has 309 digits before the point
  const auto end = std::to_chars(buffer.data(), buffer.data() + buffer.size(), value, std::chars_format::fixed,
                                 decimals < 0 ? 0 : decimals)
                       .ptr;
  std::string text{buffer.data(), end};
  if (text.size() > 1 && text[0] == '-' && text.find_first_not_of("-0.") == std::string::npos) text.erase(0, 1);
  return text;
}

}  // namespace trackrod
