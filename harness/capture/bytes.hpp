#pragma once
// Little-endian numbers and varints, written and read. The reader never runs past the end: it turns bad instead.

#include <algorithm>
#include <bit>
#include <cstdint>
#include <cstring>
#include <span>
#include <string>
#include <string_view>
#include <vector>

namespace trackrod {

static_assert(std::endian::native == std::endian::little, "the journal's numbers are copied as they lie in memory");

constexpr std::uint64_t fold(std::int64_t v) {
  return (static_cast<std::uint64_t>(v) << 1) ^ static_cast<std::uint64_t>(v >> 63);
}
constexpr std::int64_t unfold(std::uint64_t v) {
  return static_cast<std::int64_t>(v >> 1) ^ -static_cast<std::int64_t>(v & 1);
}

// Sums and differences that wrap around, so that any two instants can be told apart and stored.
constexpr std::int64_t minus(std::int64_t a, std::int64_t b) {
  return static_cast<std::int64_t>(static_cast<std::uint64_t>(a) - static_cast<std::uint64_t>(b));
}
constexpr std::int64_t plus(std::int64_t a, std::int64_t b) {
  return static_cast<std::int64_t>(static_cast<std::uint64_t>(a) + static_cast<std::uint64_t>(b));
}

// The most bytes a varint takes.
inline constexpr std::size_t longest_varint = 10;

// Writes a varint to `at`, where longest_varint bytes must be free, and returns the place behind it.
inline char* put_varint(char* at, std::uint64_t v) {
  if (v < 1U << 28) {  // most are this short, and their length is hard to foretell: no branch on it
    constexpr std::uint32_t more[]{0, 0x80, 0x8080, 0x808080};
    const auto x = static_cast<std::uint32_t>(v);
    const auto longer = (x >= 1U << 7) + (x >= 1U << 14) + (x >= 1U << 21);
    const std::uint32_t bytes =
        ((x & 0x7F) | (x & 0x3F80) << 1 | (x & 0x1FC000) << 2 | (x & 0xFE00000) << 3) | more[longer];
    std::memcpy(at, &bytes, sizeof bytes);
    return at + longer + 1;
  }
  for (; v >= 0x80; v >>= 7) *at++ = static_cast<char>((v & 0x7F) | 0x80);
  *at++ = static_cast<char>(v);
  return at;
}

class ByteWriter {
 public:
  template <class T>
  void fixed(T v) {
    std::memcpy(room(sizeof(T)), &v, sizeof(T));
    size_ += sizeof(T);
  }
  void varint(std::uint64_t v) { filled(put_varint(room(longest_varint), v)); }
  void signed_varint(std::int64_t v) { varint(fold(v)); }
  void text(std::string_view s) {
    if (s.empty()) return;
    std::memcpy(room(s.size()), s.data(), s.size());
    size_ += s.size();
  }
  // Makes `most` bytes free behind what is written, for filling in by hand; then filled() with the place behind them.
  char* room(std::size_t most) {
    if (bytes_.size() - size_ < most) bytes_.resize(std::max(2 * bytes_.size(), size_ + most));
    return bytes_.data() + size_;
  }
  void filled(const char* end) { size_ = static_cast<std::size_t>(end - bytes_.data()); }

  std::string_view view() const { return {bytes_.data(), size_}; }
  std::string take() { return std::string{view()}; }
  void clear() { size_ = 0; }  // keeps the memory

 private:
  std::vector<char> bytes_;
  std::size_t size_{0};
};

class ByteReader {
 public:
  explicit ByteReader(std::span<const std::uint8_t> bytes) : bytes_{bytes} {}

  template <class T>
  T fixed() {
    T v{};
    if (const auto raw = take(sizeof(T)); good_) std::memcpy(&v, raw.data(), sizeof(T));
    return v;
  }
  std::uint64_t varint() {
    if (good_ && at_ < bytes_.size() && bytes_[at_] < 0x80) return bytes_[at_++];  // most are this short
    std::uint64_t v = 0;
    for (int shift = 0; shift < 64; shift += 7) {
      const auto byte = fixed<std::uint8_t>();
      if (shift == 63 && byte > 1) break;
      v |= std::uint64_t{byte & 0x7FU} << shift;
      if ((byte & 0x80) == 0) return good_ ? v : 0;
    }
    good_ = false;
    return 0;
  }
  std::int64_t signed_varint() { return unfold(varint()); }
  // Calls take(v) for each of the next `count` varints; most of the time that reading takes is spent here. False, and
  // no longer good, when one of them is none; some were taken by then.
  template <class Take>
  bool varints(std::uint64_t count, Take&& take) {
    constexpr std::uint64_t top_bits = 0x8080808080808080;
    while (count > 0 && good_) {
      std::uint64_t word = 0;
      if (left() < sizeof word) {
        take(varint());
        --count;
        continue;
      }
      std::memcpy(&word, bytes_.data() + at_, sizeof word);
      if ((word & top_bits) == 0 && count >= sizeof word) {  // eight short ones, which is common
        for (std::size_t i = 0; i < sizeof word; ++i, word >>= 8) take(word & 0x7F);
        at_ += sizeof word;
        count -= sizeof word;
        continue;
      }
      const auto last = ~word & top_bits;  // the last byte of each
      if (last == 0) {
        take(varint());
      } else {
        const auto bits = static_cast<unsigned>(std::countr_zero(last)) + 1;
        take(joined_sevens(word & (~std::uint64_t{0} >> (64 - bits))));
        at_ += bits / 8;
      }
      --count;
    }
    return good_;
  }
  std::span<const std::uint8_t> take(std::uint64_t count) {
    if (!good_ || count > left()) {
      good_ = false;
      return {};
    }
    const auto part = bytes_.subspan(at_, count);
    at_ += count;
    return part;
  }
  std::span<const std::uint8_t> rest() { return take(left()); }
  std::size_t left() const { return bytes_.size() - at_; }
  bool good() const { return good_; }
  // Everything was read, and nothing beyond.
  bool finished() const { return good_ && left() == 0; }

 private:
  // The number whose groups of seven bits stand in these bytes: neighbours are joined, then their neighbours.
  static constexpr std::uint64_t joined_sevens(std::uint64_t v) {
    v = (v & 0x007F007F007F007F) | (v & 0x7F007F007F007F00) >> 1;
    v = (v & 0x00003FFF00003FFF) | (v & 0x3FFF00003FFF0000) >> 2;
    return (v & 0x000000000FFFFFFF) | (v & 0x0FFFFFFF00000000) >> 4;
  }

  std::span<const std::uint8_t> bytes_;
  std::size_t at_{0};
  bool good_{true};
};

}  // namespace trackrod
