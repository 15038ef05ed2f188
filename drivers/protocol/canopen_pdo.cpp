#include "drivers/protocol/canopen_pdo.hpp"

#include <algorithm>

namespace trackrod {
namespace {

constexpr std::uint32_t not_used_bit = 1U << 31, extended_bit = 1U << 29;

constexpr std::uint64_t mask_of(unsigned bits) { return bits == 0 ? 0 : ~0ULL >> (64 - bits); }

}  // namespace

std::uint64_t PdoPlace::read(std::span<const std::byte> data) const noexcept {
  return read_little(data) >> start & mask_of(bits);
}

void PdoPlace::write(std::span<std::byte> data, std::uint64_t raw) const noexcept {
  const auto mask = mask_of(bits) << start;
  write_little(data, (read_little(data) & ~mask) | (raw << start & mask));
}

void PdoMap::begin(std::uint32_t entry) noexcept {
  valid_ = (entry & not_used_bit) == 0;
  extended_ = (entry & extended_bit) != 0;
  identifier_ = entry & (extended_ ? 0x1FFFFFFFU : 0x7FFU);
  bits_ = 0;
  count_ = 0;
}

bool PdoMap::add(std::uint32_t entry) noexcept {
  const auto bits = entry & 0xFF;
  if (bits == 0 || bits_ + bits > most_bits) return false;
  const ObjectAddress object{static_cast<std::uint16_t>(entry >> 16), static_cast<std::uint8_t>(entry >> 8)};
  objects_[count_++] = {object, {static_cast<std::uint8_t>(bits_), static_cast<std::uint8_t>(bits)}};
  bits_ += bits;
  return true;
}

const MappedObject* PdoMap::find(ObjectAddress object) const noexcept {
  const auto all = objects();
  const auto at = std::find_if(all.begin(), all.end(), [&](const MappedObject& m) { return m.object == object; });
  return at == all.end() ? nullptr : &*at;
}

}  // namespace trackrod
