#pragma once
// Text for pages, pictures and terminals: escaping, columns, lines. Pure.

#include <cstddef>
#include <string>
#include <string_view>
#include <vector>

namespace trackrod {

// For HTML and XML, in text and in quoted attributes. Characters that XML 1.0 (section 2.2) does not allow and bytes
// that are no UTF-8 become U+FFFD.
std::string escaped(std::string_view text);

// How many columns a terminal uses for UTF-8 text: one for each code point. (Wide scripts take more; not counted.)
std::size_t columns(std::string_view text);
// `text` with spaces up to `width` columns; unchanged when it is longer.
std::string padded(const std::string& text, std::size_t width);
// Rows of cells as lines with their columns aligned, two spaces apart; a row may be shorter than the others.
std::string grid(const std::vector<std::vector<std::string>>& rows);
// Lines of at most `width` columns, broken at spaces and control characters; a longer word is cut. At least one line.
std::vector<std::string> wrapped(const std::string& text, std::size_t width);
// Signs that we use beyond ASCII (± ≤ ≥ × µ, rules and corners of plots) spelt with ASCII; anything else beyond ASCII
// becomes '?'.
std::string ascii_only(std::string_view text);

// `value` with `decimals` places after the point, whatever the locale; "-0.0" is written "0.0".
std::string fixed(double value, int decimals);

}  // namespace trackrod
