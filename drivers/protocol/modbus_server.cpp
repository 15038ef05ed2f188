#include "drivers/protocol/modbus_server.hpp"

#include <algorithm>
#include <cmath>
#include <string_view>

namespace trackrod {
namespace {

// Exceptions of section 7.
constexpr unsigned illegal_function = 1, illegal_address = 2, illegal_value = 3;

}  // namespace

ModbusServer::ModbusServer(const ModbusSettings& s)
    : transport_{s.transport},
      unit_{static_cast<unsigned>(s.unit.value)},
      receiver_{s.transport, unit_, ModbusSide::request, s.gap} {
  Problems none;
  fields_ = check_modbus(s, none);
  for (auto& field : fields_) std::swap(field.readable, field.drivable);
  for (const auto& [name, setting] : s.settings) values_.push_back({setting, true, {}});
  for (const auto& [name, reading] : s.readings) values_.push_back({reading, false, {}});
}

std::uint16_t* ModbusServer::find(ModbusTable table, unsigned address) noexcept {
  for (auto& v : values_) {
    const auto from = static_cast<unsigned>(v.place.address.value);
    if (v.place.table.value == table && address >= from && address < from + v.place.count())
      return &v.words[address - from];
  }
  return nullptr;
}

void ModbusServer::set(FieldIndex field, double value) noexcept {
  if (field >= values_.size() || !std::isfinite(value)) return;
  const auto held = values_[field].place.words_of(value);
  if (held.clamped) ++counters_.clamped;
  values_[field].words = held.words;
}

bool ModbusServer::on_bytes(std::span<const std::byte> bytes, Stamp stamp, FieldSink& sink) noexcept {
  bool any = false;
  while (!bytes.empty()) {
    bytes = receiver_.take(bytes, stamp);
    while (const auto message = receiver_.next()) {
      any = true;
      ++counters_.good;
      reply_size_ = 0;
      if (const auto exception = serve(message->pdu, stamp, sink); exception != 0) {
        reply_[0] = message->pdu[0] | std::byte{modbus_exception};
        reply_[1] = static_cast<std::byte>(exception);
        reply_size_ = 2;
      }
      out_size_ =
          carry_modbus(transport_, unit_, {message->transaction, std::span{reply_}.first(reply_size_)}, out_).size();
    }
  }
  counters_.bad_checksum = receiver_.bad_checksums();
  counters_.bad_length = receiver_.bad_lengths();
  return any;
}

std::span<const std::byte> ModbusServer::due(BenchTime) noexcept {
  return std::span{out_}.first(std::exchange(out_size_, 0));
}

unsigned ModbusServer::serve(std::span<const std::byte> pdu, Stamp stamp, FieldSink& sink) noexcept {
  switch (byte_at(pdu, 0)) {
    case modbus_read_coils:
    case modbus_read_discrete_inputs:
    case modbus_read_holding_registers:
    case modbus_read_input_registers:
      return serve_read(pdu);
    case modbus_device_identification:
      return serve_identification(pdu);
    default:
      return serve_write(pdu, stamp, sink);  // the receiver knows no others
  }
}

unsigned ModbusServer::serve_read(std::span<const std::byte> pdu) noexcept {
  constexpr std::array tables{ModbusTable::coil, ModbusTable::discrete, ModbusTable::holding, ModbusTable::input};
  const auto table = tables[byte_at(pdu, 0) - 1];
  const auto address = word_at(pdu, 1), count = word_at(pdu, 3);
  if (count == 0 || count > (holds_bits(table) ? 2000U : 125U)) return illegal_value;
  const auto bytes = holds_bits(table) ? (count + 7) / 8 : 2 * count;
  std::fill_n(reply_.begin(), 2 + bytes, std::byte{0});
  reply_[0] = pdu[0];
  reply_[1] = static_cast<std::byte>(bytes);
  for (unsigned i = 0; i < count; ++i) {
    const auto* word = find(table, address + i);
    if (word == nullptr) return illegal_address;
    if (holds_bits(table)) {
      reply_[2 + i / 8] |= static_cast<std::byte>((*word & 1U) << i % 8);
    } else {
      reply_[2 + 2 * i] = static_cast<std::byte>(*word >> 8);
      reply_[3 + 2 * i] = static_cast<std::byte>(*word);
    }
  }
  reply_size_ = 2 + bytes;
  return 0;
}

unsigned ModbusServer::serve_write(std::span<const std::byte> pdu, Stamp stamp, FieldSink& sink) noexcept {
  const auto function = byte_at(pdu, 0), address = word_at(pdu, 1), value = word_at(pdu, 3);
  const bool is_coil = function == modbus_write_coil || function == modbus_write_coils;
  const bool is_multiple = function == modbus_write_coils || function == modbus_write_registers;
  const auto table = is_coil ? ModbusTable::coil : ModbusTable::holding;
  if (function == modbus_write_coil && value != 0xFF00 && value != 0) return illegal_value;
  const unsigned count = is_multiple ? value : 1;
  if (is_multiple && (count == 0 || byte_at(pdu, 5) != (is_coil ? (count + 7) / 8 : 2 * count))) return illegal_value;
  for (unsigned i = 0; i < count; ++i)
    if (find(table, address + i) == nullptr) return illegal_address;
  for (unsigned i = 0; i < count; ++i) {
    const unsigned bit = is_multiple && is_coil ? byte_at(pdu, 6 + i / 8) >> i % 8 & 1U : 0U;
    const unsigned word = is_coil ? (is_multiple  ? bit
                                     : value != 0 ? 1U
                                                  : 0U)
                                  : (is_multiple ? word_at(pdu, 6 + 2 * i) : value);
    *find(table, address + i) = static_cast<std::uint16_t>(word);
  }
  for (std::size_t f = 0; f < values_.size(); ++f) {
    const auto& v = values_[f];
    const auto from = static_cast<unsigned>(v.place.address.value);
    if (v.is_setting && v.place.table.value == table && from + v.place.count() > address && from < address + count)
      sink.field(static_cast<FieldIndex>(f), v.place.value_of(v.words), stamp);
  }
  std::copy_n(pdu.begin(), 5, reply_.begin());
  reply_size_ = 5;
  return 0;
}

unsigned ModbusServer::serve_identification(std::span<const std::byte> pdu) noexcept {
  constexpr std::array<std::string_view, 3> objects{"Invented", "Simulated device", "1"};
  const auto first = byte_at(pdu, 3);
  if (byte_at(pdu, 1) != 14) return illegal_function;
  if (byte_at(pdu, 2) < 1 || byte_at(pdu, 2) > 3) return illegal_value;
  if (first >= objects.size()) return illegal_address;
  const auto put = [&](unsigned value) { reply_[reply_size_++] = static_cast<std::byte>(value); };
  for (std::size_t i = 0; i < 3; ++i) put(byte_at(pdu, i));
  put(1);  // basic identification, as a stream
  put(0), put(0);
  put(static_cast<unsigned>(objects.size()) - first);
  for (auto i = first; i < objects.size(); ++i) {
    put(i);
    put(static_cast<unsigned>(objects[i].size()));
    for (const char c : objects[i]) put(static_cast<unsigned char>(c));
  }
  return 0;
}

}  // namespace trackrod
