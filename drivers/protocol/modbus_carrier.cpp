#include "drivers/protocol/modbus_carrier.hpp"

#include <algorithm>
#include <utility>

#include "drivers/protocol/checksum.hpp"

namespace trackrod {
namespace {

constexpr std::size_t header = 7;  // TCP: transaction, protocol 0, length of what follows, unit
constexpr std::size_t longest_pdu = 253;

unsigned crc(std::span<const std::byte> bytes) {
  static const auto* kind = find_checksum("CRC-16/MODBUS");
  return static_cast<unsigned>(kind->of(bytes));
}

}  // namespace

std::span<const std::byte> carry_modbus(ModbusTransport transport, unsigned unit, const ModbusMessage& message,
                                        std::array<std::byte, longest_modbus>& into) noexcept {
  const auto pdu = message.pdu.first(std::min(message.pdu.size(), longest_pdu));
  std::size_t size = 0;
  const auto put = [&](unsigned value) { into[size++] = static_cast<std::byte>(value); };
  const auto put_word = [&](unsigned value) { put(value >> 8), put(value); };
  if (transport == ModbusTransport::tcp) {
    put_word(message.transaction);
    put_word(0);
    put_word(static_cast<unsigned>(pdu.size()) + 1);
  }
  put(unit);
  std::copy(pdu.begin(), pdu.end(), into.begin() + static_cast<std::ptrdiff_t>(size));
  size += pdu.size();
  if (transport == ModbusTransport::rtu) {
    const auto sum = crc({into.data(), size});
    put(sum);  // low byte first, unlike everything else
    put(sum >> 8);
  }
  return {into.data(), size};
}

ModbusReceiver::ModbusReceiver(ModbusTransport transport, unsigned unit, ModbusSide side, Duration gap)
    : transport_{transport}, side_{side}, unit_{unit}, gap_{gap} {
  crc({});  // the first use makes the catalogue; the loop must not
}

std::span<const std::byte> ModbusReceiver::take(std::span<const std::byte> bytes, Stamp stamp) noexcept {
  if (transport_ == ModbusTransport::rtu && size_ > done_ && stamp.when - last_ > gap_ + stamp.uncertainty) {
    ++bad_lengths_;
    drop();
  }
  last_ = stamp.when;
  std::copy(bytes_.begin() + static_cast<std::ptrdiff_t>(done_), bytes_.begin() + static_cast<std::ptrdiff_t>(size_),
            bytes_.begin());
  size_ -= std::exchange(done_, 0);
  const auto piece = std::min(bytes.size(), bytes_.size() - size_);
  std::copy_n(bytes.begin(), piece, bytes_.begin() + static_cast<std::ptrdiff_t>(size_));
  size_ += piece;
  return bytes.subspan(piece);
}

std::optional<ModbusMessage> ModbusReceiver::next() noexcept {
  return transport_ == ModbusTransport::rtu ? next_rtu() : next_tcp();
}

// A message may begin at any byte: behind noise, or behind our own one where the adapter hears itself.
std::optional<ModbusMessage> ModbusReceiver::next_rtu() noexcept {
  for (; done_ < size_; ++done_) {
    const auto here = rest();
    if (byte_at(here, 0) != unit_) continue;
    const auto length = pdu_length(here.subspan(1), side_);
    if (length == 0 || length > longest_pdu) continue;
    if (here.size() < length + 3) return {};
    const auto sum = byte_at(here, length + 1) | byte_at(here, length + 2) << 8;
    if (crc(here.first(length + 1)) != sum) {
      ++bad_checksums_;
      continue;
    }
    done_ += length + 3;
    return ModbusMessage{0, here.subspan(1, length)};
  }
  return {};
}

std::optional<ModbusMessage> ModbusReceiver::next_tcp() noexcept {
  while (size_ - done_ >= header) {
    const auto here = rest();
    const auto length = word_at(here, 4);
    if (word_at(here, 2) != 0 || length < 2 || length > longest_pdu + 1) {
      ++bad_lengths_;  // out of step with the stream: nothing tells where the next message begins
      drop();
      return {};
    }
    const auto whole = header - 1 + length;
    if (here.size() < whole) return {};
    done_ += whole;
    if (byte_at(here, 6) != unit_) continue;
    return ModbusMessage{static_cast<std::uint16_t>(word_at(here, 0)), here.subspan(header, length - 1)};
  }
  return {};
}

}  // namespace trackrod
