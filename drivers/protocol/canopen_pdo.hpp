#pragma once
// What stands where in a CANopen process data object (CiA 301): the mapping as read from the device.

#include <array>
#include <cstddef>
#include <cstdint>
#include <span>

#include "drivers/protocol/canopen_object.hpp"

namespace trackrod {

// Part of a PDO: bits `start` .. `start` + `bits` - 1, numbered from the least significant bit of the first byte.
struct PdoPlace {
  std::uint8_t start{0}, bits{0};
  std::uint64_t read(std::span<const std::byte> data) const noexcept;  // at least (start + bits + 7) / 8 bytes
  void write(std::span<std::byte> data, std::uint64_t raw) const noexcept;
};

struct MappedObject {
  ObjectAddress object;
  PdoPlace place;
  // Indexes 1 to 1Fh are data types: they stand for bits that mean nothing.
  bool is_gap() const noexcept { return object.index < 0x20; }
};

class PdoMap {
 public:
  static constexpr unsigned most_bits = 64;

  // From the communication parameter's sub-index 1. Empties the mapping.
  void begin(std::uint32_t identifier_entry) noexcept;
  // The next entry of the mapping parameter: index, sub-index, bits. False when it does not fit into 8 bytes.
  bool add(std::uint32_t mapping_entry) noexcept;

  bool is_valid() const noexcept { return valid_; }        // the device uses it
  bool is_extended() const noexcept { return extended_; }  // 29-bit identifier
  std::uint32_t identifier() const noexcept { return identifier_; }
  std::size_t length() const noexcept { return (bits_ + 7U) / 8U; }  // bytes
  std::span<const MappedObject> objects() const noexcept { return std::span{objects_}.first(count_); }
  const MappedObject* find(ObjectAddress object) const noexcept;

 private:
  std::uint32_t identifier_{0};
  bool valid_{false}, extended_{false};
  unsigned bits_{0};
  std::size_t count_{0};
  std::array<MappedObject, most_bits> objects_{};
};

inline constexpr std::size_t most_pdos = 4;  // in each direction, those with a place in the default identifiers
struct PdoMaps {
  std::array<PdoMap, most_pdos> from_device, to_device;
  // What the device held in the objects that it takes: the data of each PDO before anybody sets a value.
  std::array<std::array<std::byte, 8>, most_pdos> held{};
};

}  // namespace trackrod
