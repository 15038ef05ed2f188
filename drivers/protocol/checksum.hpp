#pragma once
// Checksums by name. Names and parameters are those of the open public catalogue of parametrised CRC algorithms;
// "XOR-8" and "SUM-8" are the exclusive or and the low byte of the sum of all bytes.

#include <cstddef>
#include <cstdint>
#include <span>
#include <string>
#include <string_view>
#include <vector>

namespace trackrod {

struct Checksum {
  std::string name;
  int width{0};                    // bits
  std::uint64_t poly{0}, init{0};  // 0 for XOR-8 and SUM-8, which are no CRC
  bool refin{false}, refout{false};
  std::uint64_t xorout{0};
  std::uint64_t check{0};  // of the nine characters "123456789"
  std::uint64_t (*of)(std::span<const std::byte> bytes) noexcept {nullptr};

  // Whole bytes that it takes in a frame.
  int bytes() const { return (width + 7) / 8; }
};

const std::vector<Checksum>& checksum_catalogue();
// Null when there is none of that name.
const Checksum* find_checksum(std::string_view name);

}  // namespace trackrod
