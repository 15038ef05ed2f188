#pragma once

#include <cstddef>
#include <cstdint>
#include <optional>
#include <string>

namespace trackrod {

// The number that is written as just so many hexadecimal digits, at most 8: "0A1B2C".
std::optional<std::uint32_t> read_hex(const std::string& text, std::size_t digits);

}  // namespace trackrod
