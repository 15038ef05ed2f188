#pragma once
// The checksum of the journal's frames: CRC32C as RFC 3720 B.4 has it: "123456789" gives E3069283.

#include <cstdint>
#include <span>

namespace trackrod {

// By the processor's own instruction where it has one.
std::uint32_t crc32c(std::span<const std::uint8_t> bytes);
// The same without it.
std::uint32_t crc32c_by_table(std::span<const std::uint8_t> bytes);

}  // namespace trackrod
