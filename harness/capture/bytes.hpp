#pragma once
// Little-endian numbers and varints, written and read. The reader never runs past the end: it turns bad instead.

#include <bit>
#include <cstdint>
#include <cstring>
#include <span>
#include <string>

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

class ByteWriter {
 public:
  template <class T>
  void fixed(T v) {
    char raw[sizeof(T)];
    std::memcpy(raw, &v, sizeof(T));
    out_.append(raw, sizeof(T));
  }
  void varint(std::uint64_t v) {
    for (; v >= 0x80; v >>= 7) out_.push_back(static_cast<char>((v & 0x7F) | 0x80));
    out_.push_back(static_cast<char>(v));
  }
  void signed_varint(std::int64_t v) { varint(fold(v)); }
  void text(const std::string& s) { out_ += s; }
  std::size_t size() const { return out_.size(); }
  std::string take() { return std::move(out_); }

 private:
  std::string out_;
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
  std::span<const std::uint8_t> bytes_;
  std::size_t at_{0};
  bool good_{true};
};

}  // namespace trackrod
