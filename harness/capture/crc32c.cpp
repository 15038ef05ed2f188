#include "harness/capture/crc32c.hpp"

#include <boost/crc.hpp>
#include <cstring>
#ifdef __x86_64__
#include <nmmintrin.h>
#endif

namespace trackrod {
namespace {

#ifdef __x86_64__
[[gnu::target("sse4.2")]] std::uint32_t crc32c_by_instruction(std::span<const std::uint8_t> bytes) {
  std::uint64_t crc = 0xFFFFFFFF;
  for (; bytes.size() >= sizeof(std::uint64_t); bytes = bytes.subspan(sizeof(std::uint64_t))) {
    std::uint64_t word = 0;
    std::memcpy(&word, bytes.data(), sizeof word);
    crc = _mm_crc32_u64(crc, word);
  }
  auto crc32 = static_cast<std::uint32_t>(crc);
  for (const auto byte : bytes) crc32 = _mm_crc32_u8(crc32, byte);
  return ~crc32;
}
#endif

}  // namespace

std::uint32_t crc32c_by_table(std::span<const std::uint8_t> bytes) {
  boost::crc_optimal<32, 0x1EDC6F41, 0xFFFFFFFF, 0xFFFFFFFF, true, true> crc;
  crc.process_bytes(bytes.data(), bytes.size());
  return crc.checksum();
}

std::uint32_t crc32c(std::span<const std::uint8_t> bytes) {
#ifdef __x86_64__
  static const bool has_instruction = __builtin_cpu_supports("sse4.2") != 0;
  if (has_instruction) return crc32c_by_instruction(bytes);
#endif
  return crc32c_by_table(bytes);
}

}  // namespace trackrod
