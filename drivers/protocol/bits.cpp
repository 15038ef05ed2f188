#include "drivers/protocol/bits.hpp"

#include <algorithm>

namespace trackrod {

BitSpan::BitSpan(int start, int bits, ByteOrder order) noexcept : start_{start}, bits_{bits}, order_{order} {
  // The bits of its first byte that come before it in its own order.
  const int before = order == ByteOrder::little ? start % 8 : 7 - start % 8;
  first_ = static_cast<std::size_t>(start / 8);
  count_ = static_cast<std::size_t>((before + bits + 7) / 8);
  shift_ = order == ByteOrder::little ? before : static_cast<int>(count_) * 8 - before - bits;
  mask_ = ~std::uint64_t{0} >> (64 - bits);
}

std::uint64_t BitSpan::window(std::span<const std::byte> frame) const noexcept {
  std::uint64_t w = 0;
  for (std::size_t i = 0; i < count_; ++i) {
    const auto at = order_ == ByteOrder::big ? first_ + i : first_ + count_ - 1 - i;
    w = w << 8 | std::to_integer<std::uint64_t>(frame[at]);
  }
  return w;
}

std::uint64_t BitSpan::read(std::span<const std::byte> frame) const noexcept { return window(frame) >> shift_ & mask_; }

std::int64_t BitSpan::read_signed(std::span<const std::byte> frame) const noexcept {
  const int spare = 64 - bits_;
  return static_cast<std::int64_t>(read(frame) << spare) >> spare;
}

void BitSpan::write(std::span<std::byte> frame, std::uint64_t value) const noexcept {
  std::uint64_t w = (window(frame) & ~(mask_ << shift_)) | (value & mask_) << shift_;
  for (std::size_t i = 0; i < count_; ++i, w >>= 8) {
    const auto at = order_ == ByteOrder::big ? first_ + count_ - 1 - i : first_ + i;
    frame[at] = static_cast<std::byte>(w);
  }
}

std::vector<int> BitSpan::numbers() const {
  std::vector<int> all;
  int n = start_;
  for (int i = 0; i < bits_; ++i) {
    all.push_back(n);
    if (order_ == ByteOrder::little) {
      ++n;
    } else {
      n = n % 8 == 0 ? n + 15 : n - 1;
    }
  }
  if (order_ == ByteOrder::big) std::reverse(all.begin(), all.end());
  return all;
}

}  // namespace trackrod
