// Checksums against published values.

#include <map>
#include <string>
#include <vector>

#include "drivers/protocol/checksum.hpp"
#include "tests/catch.hpp"

using namespace trackrod;

namespace {

std::uint64_t of(const std::string& name, const std::string& text) {
  const auto* c = find_checksum(name);
  REQUIRE(c != nullptr);
  return c->of(std::as_bytes(std::span{text}));
}

std::uint64_t of_bytes(const std::string& name, const std::vector<int>& values) {
  std::string text;
  for (const int v : values) text += static_cast<char>(v);
  return of(name, text);
}

}  // namespace

// Source: check values of the open public catalogue of parametrised CRC algorithms (the CRC of "123456789" under each
// name).
TEST_CASE("every checksum gives its published check value") {
  const std::map<std::string, std::uint64_t> published{
      {"CRC-8/AUTOSAR", 0xDF},
      {"CRC-8/BLUETOOTH", 0x26},
      {"CRC-8/CDMA2000", 0xDA},
      {"CRC-8/DARC", 0x15},
      {"CRC-8/DVB-S2", 0xBC},
      {"CRC-8/GSM-A", 0x37},
      {"CRC-8/GSM-B", 0x94},
      {"CRC-8/I-432-1", 0xA1},
      {"CRC-8/I-CODE", 0x7E},
      {"CRC-8/LTE", 0xEA},
      {"CRC-8/MAXIM-DOW", 0xA1},
      {"CRC-8/NRSC-5", 0xF7},
      {"CRC-8/OPENSAFETY", 0x3E},
      {"CRC-8/ROHC", 0xD0},
      {"CRC-8/SAE-J1850", 0x4B},
      {"CRC-8/SMBUS", 0xF4},
      {"CRC-8/TECH-3250", 0x97},
      {"CRC-8/WCDMA", 0x25},
      {"CRC-15/CAN", 0x059E},
      {"CRC-16/ARC", 0xBB3D},
      {"CRC-16/CDMA2000", 0x4C06},
      {"CRC-16/CMS", 0xAEE7},
      {"CRC-16/DDS-110", 0x9ECF},
      {"CRC-16/DECT-R", 0x007E},
      {"CRC-16/DECT-X", 0x007F},
      {"CRC-16/DNP", 0xEA82},
      {"CRC-16/EN-13757", 0xC2B7},
      {"CRC-16/GENIBUS", 0xD64E},
      {"CRC-16/GSM", 0xCE3C},
      {"CRC-16/IBM-3740", 0x29B1},
      {"CRC-16/IBM-SDLC", 0x906E},
      {"CRC-16/ISO-IEC-14443-3-A", 0xBF05},
      {"CRC-16/KERMIT", 0x2189},
      {"CRC-16/M17", 0x772B},
      {"CRC-16/MAXIM-DOW", 0x44C2},
      {"CRC-16/MCRF4XX", 0x6F91},
      {"CRC-16/MODBUS", 0x4B37},
      {"CRC-16/NRSC-5", 0xA066},
      {"CRC-16/OPENSAFETY-A", 0x5D38},
      {"CRC-16/OPENSAFETY-B", 0x20FE},
      {"CRC-16/PROFIBUS", 0xA819},
      {"CRC-16/T10-DIF", 0xD0DB},
      {"CRC-16/UMTS", 0xFEE8},
      {"CRC-16/USB", 0xB4C8},
      {"CRC-16/XMODEM", 0x31C3},
      {"CRC-24/OPENPGP", 0x21CF02},
      {"CRC-32/AUTOSAR", 0x1697D06A},
      {"CRC-32/BZIP2", 0xFC891918},
      {"CRC-32/CD-ROM-EDC", 0x6EC2EDC4},
      {"CRC-32/CKSUM", 0x765E7680},
      {"CRC-32/ISCSI", 0xE3069283},
      {"CRC-32/ISO-HDLC", 0xCBF43926},
      {"CRC-32/JAMCRC", 0x340BC6D9},
      {"CRC-32/MEF", 0xD2C22F51},
      {"CRC-32/MPEG-2", 0x0376E6E7},
      {"CRC-32/XFER", 0xBD0BE338},
      {"CRC-64/ECMA-182", 0x6C40DF5F0B497347},
      {"CRC-64/GO-ISO", 0xB90956C775A41001},
      {"CRC-64/NVME", 0xAE8B14860A799888},
      {"CRC-64/WE", 0x62EC59E3F1A4F00A},
      {"CRC-64/XZ", 0x995DC9BBDF1939FA},
  };
  for (const auto& [name, check] : published) {
    CAPTURE(name);
    CHECK(of(name, "123456789") == check);
  }
  for (const auto& c : checksum_catalogue()) {
    CAPTURE(c.name);
    CHECK(of(c.name, "123456789") == c.check);
    if (c.poly != 0) CHECK(published.count(c.name) == 1);
  }
}

// Source: AUTOSAR SWS_CRCLibrary, tables of check values for data sets 1 to 7.
TEST_CASE("checksums agree with the check tables of the AUTOSAR CRC library") {
  const std::vector<std::vector<int>> data{{0x00, 0x00, 0x00, 0x00},
                                           {0xF2, 0x01, 0x83},
                                           {0x0F, 0xAA, 0x00, 0x55},
                                           {0x00, 0xFF, 0x55, 0x11},
                                           {0x33, 0x22, 0x55, 0xAA, 0xBB, 0xCC, 0xDD, 0xEE, 0xFF},
                                           {0x92, 0x6B, 0x55},
                                           {0xFF, 0xFF, 0xFF, 0xFF}};
  const std::map<std::string, std::vector<std::uint64_t>> published{
      {"CRC-8/SAE-J1850", {0x59, 0x37, 0x79, 0xB8, 0xCB, 0x8C, 0x74}},
      {"CRC-8/AUTOSAR", {0x12, 0xC2, 0xC6, 0x77, 0x11, 0x33, 0x6C}},
      {"CRC-16/IBM-3740", {0x84C0, 0xD374, 0x2023, 0xB8F9, 0xF53F, 0x0745, 0x1D0F}},
      {"CRC-16/ARC", {0x0000, 0xC2E1, 0x0BE3, 0x6CCF, 0xAE98, 0xE24E, 0x9401}},
      {"CRC-32/ISO-HDLC", {0x2144DF1C, 0x24AB9D77, 0xB6C9B287, 0x32A06212, 0xB0AE863D, 0x9CDEA29B, 0xFFFFFFFF}},
      {"CRC-32/AUTOSAR", {0x6FB32240, 0x4F721A25, 0x20662DF8, 0x9BD7996E, 0xA65A343D, 0xEE688A78, 0xFFFFFFFF}},
      {"CRC-64/XZ",
       {0xF4A586351E1B9F4B, 0x319C27668164F1C6, 0x54C5D0F7667C1575, 0xA63822BE7E0704E6, 0x701ECEB219A8E5D5,
        0x5FAA96A9B59F3E4E, 0xFFFFFFFF00000000}}};
  for (const auto& [name, sums] : published)
    for (std::size_t i = 0; i < data.size(); ++i) {
      CAPTURE(name, i + 1);
      CHECK(of_bytes(name, data[i]) == sums[i]);
    }
}

// Source: Modbus application protocol V1.1b3 and serial line V1.02, example frames: the checksum goes low byte first.
TEST_CASE("CRC-16/MODBUS gives the last two bytes of the standard's example frames") {
  CHECK(of_bytes("CRC-16/MODBUS", {0x11, 0x03, 0x00, 0x6B, 0x00, 0x03}) == 0x8776);
  CHECK(of_bytes("CRC-16/MODBUS", {0x11, 0x05, 0x00, 0xAC, 0xFF, 0x00}) == 0x8B4E);
  CHECK(of_bytes("CRC-16/MODBUS", {0x0A, 0x81, 0x02}) == 0x53B0);
}

// Worked by hand: 0x12 ^ 0x34 ^ 0x56 = 0x70; 0xF0 + 0x20 + 0x01 = 0x111.
TEST_CASE("XOR-8 and SUM-8 do what their names say") {
  CHECK(of_bytes("XOR-8", {0x12, 0x34, 0x56}) == 0x70);
  CHECK(of_bytes("SUM-8", {0xF0, 0x20, 0x01}) == 0x11);
}
