#include "drivers/protocol/checksum.hpp"

#include <boost/crc.hpp>

namespace trackrod {
namespace {

// The parameters stand once: Boost needs them at compile time for its tables, the catalogue shows them at run time.
template <int width, std::uint64_t poly, std::uint64_t init, bool refin, bool refout, std::uint64_t xorout>
Checksum crc(const char* name, std::uint64_t check) {
  return {name, width, poly, init, refin, refout, xorout, check, [](std::span<const std::byte> bytes) noexcept {
            boost::crc_optimal<width, poly, init, xorout, refin, refout> sum;
            sum.process_bytes(bytes.data(), bytes.size());
            return static_cast<std::uint64_t>(sum.checksum());
          }};
}

std::uint64_t xor_8(std::span<const std::byte> bytes) noexcept {
  std::byte all{0};
  for (const auto b : bytes) all ^= b;
  return std::to_integer<std::uint64_t>(all);
}

std::uint64_t sum_8(std::span<const std::byte> bytes) noexcept {
  std::uint64_t sum = 0;
  for (const auto b : bytes) sum += std::to_integer<std::uint64_t>(b);
  return sum & 0xFF;
}

}  // namespace

const std::vector<Checksum>& checksum_catalogue() {
  constexpr std::uint64_t all_32 = 0xFFFFFFFF, all_64 = ~std::uint64_t{0}, ecma_182 = 0x42F0E1EBA9EA3693;
  static const std::vector<Checksum> catalogue{
      crc<8, 0x2F, 0xFF, false, false, 0xFF>("CRC-8/AUTOSAR", 0xDF),
      crc<8, 0xA7, 0x00, true, true, 0x00>("CRC-8/BLUETOOTH", 0x26),
      crc<8, 0x9B, 0xFF, false, false, 0x00>("CRC-8/CDMA2000", 0xDA),
      crc<8, 0x39, 0x00, true, true, 0x00>("CRC-8/DARC", 0x15),
      crc<8, 0xD5, 0x00, false, false, 0x00>("CRC-8/DVB-S2", 0xBC),
      crc<8, 0x1D, 0x00, false, false, 0x00>("CRC-8/GSM-A", 0x37),
      crc<8, 0x49, 0x00, false, false, 0xFF>("CRC-8/GSM-B", 0x94),
      crc<8, 0x07, 0x00, false, false, 0x55>("CRC-8/I-432-1", 0xA1),
      crc<8, 0x1D, 0xFD, false, false, 0x00>("CRC-8/I-CODE", 0x7E),
      crc<8, 0x9B, 0x00, false, false, 0x00>("CRC-8/LTE", 0xEA),
      crc<8, 0x31, 0x00, true, true, 0x00>("CRC-8/MAXIM-DOW", 0xA1),
      crc<8, 0x31, 0xFF, false, false, 0x00>("CRC-8/NRSC-5", 0xF7),
      crc<8, 0x2F, 0x00, false, false, 0x00>("CRC-8/OPENSAFETY", 0x3E),
      crc<8, 0x07, 0xFF, true, true, 0x00>("CRC-8/ROHC", 0xD0),
      crc<8, 0x1D, 0xFF, false, false, 0xFF>("CRC-8/SAE-J1850", 0x4B),
      crc<8, 0x07, 0x00, false, false, 0x00>("CRC-8/SMBUS", 0xF4),
      crc<8, 0x1D, 0xFF, true, true, 0x00>("CRC-8/TECH-3250", 0x97),
      crc<8, 0x9B, 0x00, true, true, 0x00>("CRC-8/WCDMA", 0x25),
      crc<15, 0x4599, 0x0000, false, false, 0x0000>("CRC-15/CAN", 0x059E),
      crc<16, 0x8005, 0x0000, true, true, 0x0000>("CRC-16/ARC", 0xBB3D),
      crc<16, 0xC867, 0xFFFF, false, false, 0x0000>("CRC-16/CDMA2000", 0x4C06),
      crc<16, 0x8005, 0xFFFF, false, false, 0x0000>("CRC-16/CMS", 0xAEE7),
      crc<16, 0x8005, 0x800D, false, false, 0x0000>("CRC-16/DDS-110", 0x9ECF),
      crc<16, 0x0589, 0x0000, false, false, 0x0001>("CRC-16/DECT-R", 0x007E),
      crc<16, 0x0589, 0x0000, false, false, 0x0000>("CRC-16/DECT-X", 0x007F),
      crc<16, 0x3D65, 0x0000, true, true, 0xFFFF>("CRC-16/DNP", 0xEA82),
      crc<16, 0x3D65, 0x0000, false, false, 0xFFFF>("CRC-16/EN-13757", 0xC2B7),
      crc<16, 0x1021, 0xFFFF, false, false, 0xFFFF>("CRC-16/GENIBUS", 0xD64E),
      crc<16, 0x1021, 0x0000, false, false, 0xFFFF>("CRC-16/GSM", 0xCE3C),
      crc<16, 0x1021, 0xFFFF, false, false, 0x0000>("CRC-16/IBM-3740", 0x29B1),
      crc<16, 0x1021, 0xFFFF, true, true, 0xFFFF>("CRC-16/IBM-SDLC", 0x906E),
      crc<16, 0x1021, 0xC6C6, true, true, 0x0000>("CRC-16/ISO-IEC-14443-3-A", 0xBF05),
      crc<16, 0x1021, 0x0000, true, true, 0x0000>("CRC-16/KERMIT", 0x2189),
      crc<16, 0x5935, 0xFFFF, false, false, 0x0000>("CRC-16/M17", 0x772B),
      crc<16, 0x8005, 0x0000, true, true, 0xFFFF>("CRC-16/MAXIM-DOW", 0x44C2),
      crc<16, 0x1021, 0xFFFF, true, true, 0x0000>("CRC-16/MCRF4XX", 0x6F91),
      crc<16, 0x8005, 0xFFFF, true, true, 0x0000>("CRC-16/MODBUS", 0x4B37),
      crc<16, 0x080B, 0xFFFF, true, true, 0x0000>("CRC-16/NRSC-5", 0xA066),
      crc<16, 0x5935, 0x0000, false, false, 0x0000>("CRC-16/OPENSAFETY-A", 0x5D38),
      crc<16, 0x755B, 0x0000, false, false, 0x0000>("CRC-16/OPENSAFETY-B", 0x20FE),
      crc<16, 0x1DCF, 0xFFFF, false, false, 0xFFFF>("CRC-16/PROFIBUS", 0xA819),
      crc<16, 0x8BB7, 0x0000, false, false, 0x0000>("CRC-16/T10-DIF", 0xD0DB),
      crc<16, 0x8005, 0x0000, false, false, 0x0000>("CRC-16/UMTS", 0xFEE8),
      crc<16, 0x8005, 0xFFFF, true, true, 0xFFFF>("CRC-16/USB", 0xB4C8),
      crc<16, 0x1021, 0x0000, false, false, 0x0000>("CRC-16/XMODEM", 0x31C3),
      crc<24, 0x864CFB, 0xB704CE, false, false, 0x000000>("CRC-24/OPENPGP", 0x21CF02),
      crc<32, 0xF4ACFB13, all_32, true, true, all_32>("CRC-32/AUTOSAR", 0x1697D06A),
      crc<32, 0x04C11DB7, all_32, false, false, all_32>("CRC-32/BZIP2", 0xFC891918),
      crc<32, 0x8001801B, 0, true, true, 0>("CRC-32/CD-ROM-EDC", 0x6EC2EDC4),
      crc<32, 0x04C11DB7, 0, false, false, all_32>("CRC-32/CKSUM", 0x765E7680),
      crc<32, 0x1EDC6F41, all_32, true, true, all_32>("CRC-32/ISCSI", 0xE3069283),
      crc<32, 0x04C11DB7, all_32, true, true, all_32>("CRC-32/ISO-HDLC", 0xCBF43926),
      crc<32, 0x04C11DB7, all_32, true, true, 0>("CRC-32/JAMCRC", 0x340BC6D9),
      crc<32, 0x741B8CD7, all_32, true, true, 0>("CRC-32/MEF", 0xD2C22F51),
      crc<32, 0x04C11DB7, all_32, false, false, 0>("CRC-32/MPEG-2", 0x0376E6E7),
      crc<32, 0x000000AF, 0, false, false, 0>("CRC-32/XFER", 0xBD0BE338),
      crc<64, ecma_182, 0, false, false, 0>("CRC-64/ECMA-182", 0x6C40DF5F0B497347),
      crc<64, 0x1B, all_64, true, true, all_64>("CRC-64/GO-ISO", 0xB90956C775A41001),
      crc<64, 0xAD93D23594C93659, all_64, true, true, all_64>("CRC-64/NVME", 0xAE8B14860A799888),
      crc<64, ecma_182, all_64, false, false, all_64>("CRC-64/WE", 0x62EC59E3F1A4F00A),
      crc<64, ecma_182, all_64, true, true, all_64>("CRC-64/XZ", 0x995DC9BBDF1939FA),
      {"XOR-8", 8, 0, 0, false, false, 0, 0x31, xor_8},
      {"SUM-8", 8, 0, 0, false, false, 0, 0xDD, sum_8},
  };
  return catalogue;
}

const Checksum* find_checksum(std::string_view name) {
  for (const auto& c : checksum_catalogue())
    if (c.name == name) return &c;
  return nullptr;
}

}  // namespace trackrod
