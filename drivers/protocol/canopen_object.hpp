#pragma once
// Entries of a CANopen object dictionary: how they are addressed and how numbers stand in them (CiA 301).

#include <cstddef>
#include <cstdint>
#include <optional>
#include <span>
#include <string>
#include <string_view>

namespace trackrod {

struct ObjectAddress {
  std::uint16_t index{0};
  std::uint8_t sub{0};
  bool operator==(const ObjectAddress&) const = default;
  std::string text() const;  // "6064:00"
};
// Index and sub-index in hexadecimal, "6064:00".
std::optional<ObjectAddress> parse_object(std::string_view text);

enum class ObjectType : std::uint8_t { boolean, i8, i16, i32, i64, u8, u16, u32, u64, f32, f64 };

// Bits that a value of the type takes in a PDO; in an SDO it takes whole bytes.
unsigned bits_of(ObjectType type) noexcept;
inline std::size_t bytes_of(ObjectType type) noexcept { return (bits_of(type) + 7) / 8; }
bool is_float(ObjectType type) noexcept;
// Whole numbers: what the type holds. Floating point: 0 and 0.
struct NumberBounds {
  double low, high;
};
NumberBounds bounds_of(ObjectType type) noexcept;

// The number that the low bits of `raw` stand for.
double number_of(ObjectType type, std::uint64_t raw) noexcept;
// The other way round: the nearest whole number, within the type's bounds. `value` is finite.
std::uint64_t raw_of(ObjectType type, double value, bool& clamped) noexcept;

// Little-endian, at most 8 bytes.
std::uint64_t read_little(std::span<const std::byte> bytes) noexcept;
void write_little(std::span<std::byte> bytes, std::uint64_t value) noexcept;

}  // namespace trackrod
