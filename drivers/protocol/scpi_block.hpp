#pragma once
// Definite-length blocks of IEEE 488.2 (8.7.9): "#", how many digits follow, that many digits of the length, the bytes.

#include <cstddef>
#include <cstdint>
#include <optional>
#include <span>
#include <string_view>

#include "drivers/protocol/bits.hpp"

namespace trackrod {

inline constexpr std::size_t longest_block = 8192;       // bytes of data: 1024 numbers of 8 bytes
inline constexpr std::size_t longest_block_header = 11;  // "#9" and nine digits

// What the beginning of an answer says of its block: the length of its header and data. Nothing when `text` is not a
// whole header, or its block would be longer than longest_block.
struct BlockSize {
  std::size_t header{0}, data{0};
};
std::optional<BlockSize> read_block_header(std::string_view text) noexcept;

// The data of an answer that is one whole block. Nothing when it is none, is too short or goes on behind it.
std::optional<std::span<const std::byte>> read_block(std::string_view answer) noexcept;

// One number out of a block of numbers.
struct BlockItem {
  enum class Type : std::uint8_t { real32, real64, int8, int16, int32 } type{Type::real32};
  ByteOrder order{ByteOrder::big};  // SCPI-1999: FORMat:BORDer NORMal
  int item{0};                      // from 0

  // Nothing when the block ends before it.
  std::optional<double> of(std::span<const std::byte> block) const noexcept;
};

}  // namespace trackrod
