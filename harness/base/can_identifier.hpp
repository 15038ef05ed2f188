#pragma once

#include <cstdint>

#include "harness/base/fields.hpp"

namespace trackrod {

inline constexpr std::uint32_t greatest_standard_id = 0x7FF, greatest_extended_id = 0x1FFFFFFF;

// A CAN identifier as files write it: "0x120", in hexadecimal as everywhere in the trade, of up to 29 bits.
Shape<std::uint32_t> can_identifier();

}  // namespace trackrod
