#include "drivers/protocol/e2e.hpp"

#include <boost/crc.hpp>

namespace trackrod {
namespace {

// A library's CRC-8/SAE-J1850 with its start of FF and its final FF, which profile 1 calls so that both cancel out.
using Crc8 = boost::crc_optimal<8, 0x1D, 0, 0, false, false>;
using Crc8H2f = boost::crc_optimal<8, 0x2F, 0xFF, 0xFF, false, false>;
using Crc16 = boost::crc_optimal<16, 0x1021, 0xFFFF, 0, false, false>;

template <class Crc>
void add(Crc& crc, std::span<const std::byte> bytes) {
  crc.process_bytes(bytes.data(), bytes.size());
}

unsigned low_byte(unsigned value) { return value & 0xFF; }
unsigned high_byte(unsigned value) { return value >> 8 & 0xFF; }

unsigned nibble(std::span<const std::byte> frame, std::size_t bit) {
  return std::to_integer<unsigned>(frame[bit / 8]) >> bit % 8 & 0xF;
}

void put_nibble(std::span<std::byte> frame, std::size_t bit, unsigned value) {
  auto& byte = frame[bit / 8];
  byte = (byte & ~(std::byte{0xF} << bit % 8)) | static_cast<std::byte>(value & 0xF) << bit % 8;
}

unsigned checksum_p01(const E2e& e2e, std::span<const std::byte> frame) {
  Crc8 crc;
  const auto id = [&](unsigned byte) { crc.process_byte(static_cast<unsigned char>(byte)); };
  switch (e2e.id_mode) {
    case E2eIdMode::both:
      id(low_byte(e2e.data_id));
      id(high_byte(e2e.data_id));
      break;
    case E2eIdMode::alternating:
      id(e2e.counter_in(frame) % 2 == 0 ? low_byte(e2e.data_id) : high_byte(e2e.data_id));
      break;
    case E2eIdMode::low:
      id(low_byte(e2e.data_id));
      break;
    case E2eIdMode::nibble:
      id(low_byte(e2e.data_id));
      id(0);
      break;
  }
  add(crc, frame.first(e2e.at));
  add(crc, frame.subspan(e2e.at + 1));
  return crc.checksum();
}

unsigned checksum_p02(const E2e& e2e, std::span<const std::byte> frame) {
  Crc8H2f crc;
  add(crc, frame.subspan(1));
  crc.process_byte(e2e.data_ids[e2e.counter_in(frame)]);
  return crc.checksum();
}

unsigned checksum_p05(const E2e& e2e, std::span<const std::byte> frame) {
  Crc16 crc;
  add(crc, frame.first(e2e.at));
  add(crc, frame.subspan(e2e.at + 2));
  crc.process_byte(static_cast<unsigned char>(low_byte(e2e.data_id)));
  crc.process_byte(static_cast<unsigned char>(high_byte(e2e.data_id)));
  return crc.checksum();
}

}  // namespace

unsigned E2e::counters() const noexcept {
  switch (profile) {
    case E2eProfile::p01:
      return 15;
    case E2eProfile::p02:
      return 16;
    case E2eProfile::p05:
      break;
  }
  return 256;
}

unsigned E2e::counter_in(std::span<const std::byte> frame) const noexcept {
  return profile == E2eProfile::p05 ? std::to_integer<unsigned>(frame[at + 2]) : nibble(frame, counter_at);
}

unsigned E2e::checksum_in(std::span<const std::byte> frame) const noexcept {
  const auto first = std::to_integer<unsigned>(frame[at]);
  return profile == E2eProfile::p05 ? first | std::to_integer<unsigned>(frame[at + 1]) << 8 : first;
}

unsigned E2e::checksum_of(std::span<const std::byte> frame) const noexcept {
  switch (profile) {
    case E2eProfile::p01:
      return checksum_p01(*this, frame);
    case E2eProfile::p02:
      return checksum_p02(*this, frame);
    case E2eProfile::p05:
      break;
  }
  return checksum_p05(*this, frame);
}

bool E2e::intact(std::span<const std::byte> frame) const noexcept {
  const bool right_nibble = profile != E2eProfile::p01 || id_mode != E2eIdMode::nibble ||
                            nibble(frame, nibble_at) == (high_byte(data_id) & 0xF);
  return right_nibble && counter_in(frame) < counters() && checksum_in(frame) == checksum_of(frame);
}

void E2e::protect(std::span<std::byte> frame, unsigned counter) const noexcept {
  if (profile == E2eProfile::p05)
    frame[at + 2] = static_cast<std::byte>(counter);
  else
    put_nibble(frame, counter_at, counter);
  if (profile == E2eProfile::p01 && id_mode == E2eIdMode::nibble) put_nibble(frame, nibble_at, high_byte(data_id));
  const auto checksum = checksum_of(frame);
  frame[at] = static_cast<std::byte>(low_byte(checksum));
  if (profile == E2eProfile::p05) frame[at + 1] = static_cast<std::byte>(high_byte(checksum));
}

}  // namespace trackrod
