#include "harness/base/hex.hpp"

#include <charconv>

namespace trackrod {

std::optional<std::uint32_t> read_hex(const std::string& text, std::size_t digits) {
  std::uint32_t number{};
  const auto* end = text.data() + text.size();
  const auto [stop, error] = std::from_chars(text.data(), end, number, 16);
  if (text.size() != digits || stop != end || error != std::errc{}) return {};
  return number;
}

}  // namespace trackrod
