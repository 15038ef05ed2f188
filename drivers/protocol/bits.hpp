#pragma once
// Where a value stands in a frame.
//
// Bits are numbered from 0 up: bit n is the one of weight 2^(n % 8) in byte n / 8. In little order `start` is the least
// significant bit and the value goes on to higher numbers. In big order (network order) `start` is the most significant
// bit; the value goes down to bit 0 of that byte and on from bit 7 of the next byte. docs/protocols.md has pictures.

#include <cstddef>
#include <cstdint>
#include <span>
#include <vector>

namespace trackrod {

enum class ByteOrder : std::uint8_t { little, big };

class BitSpan {
 public:
  // bits: 1 to 57, or up to 64 where the value fills whole bytes, so that it touches no more than 8 bytes.
  BitSpan(int start, int bits, ByteOrder order) noexcept;

  int bits() const noexcept { return bits_; }
  std::uint64_t mask() const noexcept { return mask_; }
  // The first byte behind the value.
  std::size_t end() const noexcept { return first_ + count_; }
  // `frame` holds at least end() bytes.
  std::uint64_t read(std::span<const std::byte> frame) const noexcept;
  std::int64_t read_signed(std::span<const std::byte> frame) const noexcept;  // two's complement
  // Bits of `value` above bits() are left out; the other bits of the frame stay as they are.
  void write(std::span<std::byte> frame, std::uint64_t value) const noexcept;
  // The numbers of its bits, the least significant first.
  std::vector<int> numbers() const;

 private:
  std::uint64_t window(std::span<const std::byte> frame) const noexcept;

  int start_, bits_;
  ByteOrder order_;
  std::size_t first_{0}, count_{0};  // bytes it touches
  int shift_{0};                     // of its least significant bit, within those bytes taken as one number
  std::uint64_t mask_{0};
};

}  // namespace trackrod
