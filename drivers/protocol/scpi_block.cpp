#include "drivers/protocol/scpi_block.hpp"

#include <bit>
#include <charconv>

namespace trackrod {

std::optional<BlockSize> read_block_header(std::string_view text) noexcept {
  if (text.size() < 3 || text[0] != '#' || text[1] < '1' || text[1] > '9') return {};
  const auto digits = static_cast<std::size_t>(text[1] - '0');
  if (text.size() < 2 + digits) return {};
  BlockSize size{2 + digits, 0};
  const auto* end = text.data() + size.header;
  const auto [stop, error] = std::from_chars(text.data() + 2, end, size.data);
  if (error != std::errc{} || stop != end || size.data > longest_block) return {};
  return size;
}

std::optional<std::span<const std::byte>> read_block(std::string_view answer) noexcept {
  const auto size = read_block_header(answer);
  if (!size || answer.size() != size->header + size->data) return {};
  return std::as_bytes(std::span{answer.data(), answer.size()}).subspan(size->header);
}

std::optional<double> BlockItem::of(std::span<const std::byte> block) const noexcept {
  const std::size_t width = type == Type::real64 ? 8 : type == Type::int8 ? 1 : type == Type::int16 ? 2 : 4;
  const auto from = static_cast<std::size_t>(item) * width;
  if (from + width > block.size()) return {};
  const BitSpan place{order == ByteOrder::big ? 7 : 0, static_cast<int>(width * 8), order};
  const auto bytes = block.subspan(from, width);
  const auto bits = place.read(bytes);
  if (type == Type::real64) return std::bit_cast<double>(bits);
  if (type == Type::real32) return static_cast<double>(std::bit_cast<float>(static_cast<std::uint32_t>(bits)));
  return static_cast<double>(place.read_signed(bytes));
}

}  // namespace trackrod
