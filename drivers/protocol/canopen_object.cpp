#include "drivers/protocol/canopen_object.hpp"

#include <algorithm>
#include <bit>
#include <charconv>
#include <cmath>
#include <cstdio>
#include <limits>

namespace trackrod {
namespace {

bool is_signed(ObjectType type) noexcept {
  return type == ObjectType::i8 || type == ObjectType::i16 || type == ObjectType::i32 || type == ObjectType::i64;
}

}  // namespace

std::string ObjectAddress::text() const {
  char t[16];
  std::snprintf(t, sizeof t, "%04X:%02X", index, sub);
  return t;
}

std::optional<ObjectAddress> parse_object(std::string_view text) {
  if (text.size() != 7 || text[4] != ':') return {};
  const auto number = [](std::string_view digits, auto& out) {
    const auto end = digits.data() + digits.size();
    return std::from_chars(digits.data(), end, out, 16).ptr == end;
  };
  ObjectAddress address;
  if (!number(text.substr(0, 4), address.index) || !number(text.substr(5), address.sub)) return {};
  return address;
}

unsigned bits_of(ObjectType type) noexcept {
  switch (type) {
    case ObjectType::boolean:
      return 1;
    case ObjectType::i8:
    case ObjectType::u8:
      return 8;
    case ObjectType::i16:
    case ObjectType::u16:
      return 16;
    case ObjectType::i32:
    case ObjectType::u32:
    case ObjectType::f32:
      return 32;
    case ObjectType::i64:
    case ObjectType::u64:
    case ObjectType::f64:
      break;
  }
  return 64;
}

bool is_float(ObjectType type) noexcept { return type == ObjectType::f32 || type == ObjectType::f64; }

NumberBounds bounds_of(ObjectType type) noexcept {
  if (is_float(type)) return {0.0, 0.0};
  const auto bits = static_cast<int>(bits_of(type));
  if (is_signed(type)) return {-std::ldexp(1.0, bits - 1), std::ldexp(1.0, bits - 1) - 1.0};
  return {0.0, std::ldexp(1.0, bits) - 1.0};
}

double number_of(ObjectType type, std::uint64_t raw) noexcept {
  if (type == ObjectType::f32) return static_cast<double>(std::bit_cast<float>(static_cast<std::uint32_t>(raw)));
  if (type == ObjectType::f64) return std::bit_cast<double>(raw);
  const auto spare = 64 - bits_of(type);
  if (is_signed(type)) return static_cast<double>(static_cast<std::int64_t>(raw << spare) >> spare);
  return static_cast<double>(raw << spare >> spare);
}

std::uint64_t raw_of(ObjectType type, double value, bool& clamped) noexcept {
  clamped = false;
  if (type == ObjectType::f64) return std::bit_cast<std::uint64_t>(value);
  if (type == ObjectType::f32) {
    const auto single = static_cast<float>(value);
    clamped = !std::isfinite(single);
    return std::bit_cast<std::uint32_t>(clamped ? std::copysign(std::numeric_limits<float>::max(), single) : single);
  }
  const auto [low, high] = bounds_of(type);
  const double wanted = std::round(value);
  const double held = std::clamp(wanted, low, high);
  clamped = held != wanted;
  // 2^63 and 2^64 themselves are what the bounds of 64 bits round to as double, and are not to be converted.
  if (held >= 0x1p63)
    return is_signed(type) ? 0x7FFFFFFFFFFFFFFFULL : held >= 0x1p64 ? ~0ULL : static_cast<std::uint64_t>(held);
  const auto raw = static_cast<std::uint64_t>(static_cast<std::int64_t>(held));
  return raw & ~0ULL >> (64 - bits_of(type));
}

std::uint64_t read_little(std::span<const std::byte> bytes) noexcept {
  std::uint64_t value = 0;
  for (std::size_t i = std::min<std::size_t>(bytes.size(), 8); i-- > 0;)
    value = value << 8 | std::to_integer<std::uint64_t>(bytes[i]);
  return value;
}

void write_little(std::span<std::byte> bytes, std::uint64_t value) noexcept {
  for (auto& b : bytes) {
    b = static_cast<std::byte>(value);
    value >>= 8;
  }
}

}  // namespace trackrod
