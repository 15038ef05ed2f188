#include "drivers/protocol/modbus_pdu.hpp"

#include <algorithm>
#include <cstdio>
#include <cstdlib>
#include <utility>

namespace trackrod {
namespace {

constexpr unsigned read_device_id = 14;  // the kind of encapsulated interface that function 43 uses for identification

std::string looked_up(std::span<const std::pair<unsigned, const char*>> names, unsigned number, const char* other) {
  const auto at = std::find_if(names.begin(), names.end(), [&](const auto& n) { return n.first == number; });
  return at != names.end() ? at->second : other + std::to_string(number);
}

bool is_read(unsigned function) { return function >= modbus_read_coils && function <= modbus_read_input_registers; }

// Of an answer with device identification: its objects come one behind the other, each with its length.
std::size_t identification_length(std::span<const std::byte> pdu) {
  std::size_t length = 7;
  if (pdu.size() < length) return length;
  for (unsigned left = byte_at(pdu, 6); left > 0; --left) {
    if (pdu.size() < length + 2) return length + 2;
    length += 2 + byte_at(pdu, length + 1);
  }
  return length;
}

}  // namespace

ModbusFunction read_function(ModbusTable table) noexcept {
  switch (table) {
    case ModbusTable::coil:
      return modbus_read_coils;
    case ModbusTable::discrete:
      return modbus_read_discrete_inputs;
    case ModbusTable::input:
      return modbus_read_input_registers;
    case ModbusTable::holding:
      break;
  }
  return modbus_read_holding_registers;
}

std::string modbus_function_name(unsigned function) {
  static constexpr std::pair<unsigned, const char*> names[]{
      {modbus_read_coils, "read coils"},
      {modbus_read_discrete_inputs, "read discrete inputs"},
      {modbus_read_holding_registers, "read holding registers"},
      {modbus_read_input_registers, "read input registers"},
      {modbus_write_coil, "write single coil"},
      {modbus_write_register, "write single register"},
      {modbus_write_coils, "write multiple coils"},
      {modbus_write_registers, "write multiple registers"},
      {modbus_device_identification, "read device identification"}};
  return looked_up(names, function, "function ");
}

// Section 7 of the application protocol.
std::string modbus_exception_name(unsigned code) {
  static constexpr std::pair<unsigned, const char*> names[]{{1, "illegal function"},
                                                            {2, "illegal data address"},
                                                            {3, "illegal data value"},
                                                            {4, "server device failure"},
                                                            {5, "acknowledge: it takes longer"},
                                                            {6, "server device busy"},
                                                            {8, "memory parity error"},
                                                            {10, "gateway path unavailable"},
                                                            {11, "gateway target device failed to respond"}};
  return looked_up(names, code, "exception ");
}

ModbusPdu& ModbusPdu::byte(unsigned value) noexcept {
  if (size_ == longest) {
    std::fputs("trackrod: a Modbus request longer than this program makes\n", stderr);
    std::abort();
  }
  bytes_[size_++] = static_cast<std::byte>(value);
  return *this;
}

void make_read(ModbusPdu& pdu, ModbusTable table, unsigned address, unsigned count) noexcept {
  pdu.clear();
  pdu.byte(read_function(table)).word(address).word(count);
}

void make_write(ModbusPdu& pdu, ModbusTable table, unsigned address, std::span<const std::uint16_t> words,
                bool multiple) noexcept {
  pdu.clear();
  if (table == ModbusTable::coil) {
    const bool on = words[0] != 0;
    if (multiple)
      pdu.byte(modbus_write_coils).word(address).word(1).byte(1).byte(on ? 1 : 0);
    else
      pdu.byte(modbus_write_coil).word(address).word(on ? 0xFF00 : 0);
  } else if (!multiple && words.size() == 1) {
    pdu.byte(modbus_write_register).word(address).word(words[0]);
  } else {
    const auto count = static_cast<unsigned>(words.size());
    pdu.byte(modbus_write_registers).word(address).word(count).byte(2 * count);
    for (const auto w : words) pdu.word(w);
  }
}

void make_identification(ModbusPdu& pdu, unsigned object) noexcept {
  constexpr unsigned basic = 1;
  pdu.clear();
  pdu.byte(modbus_device_identification).byte(read_device_id).byte(basic).byte(object);
}

ModbusAnswer judge_answer(std::span<const std::byte> request, std::span<const std::byte> answer) noexcept {
  if (request.empty() || answer.size() < 2) return ModbusAnswer::not_to_this;
  const auto function = byte_at(request, 0), got = byte_at(answer, 0);
  if (got == (function | modbus_exception))
    return answer.size() == 2 ? ModbusAnswer::refused : ModbusAnswer::not_to_this;
  if (got != function) return ModbusAnswer::not_to_this;
  bool good = false;
  if (is_read(function)) {
    const auto count = word_at(request, 3);
    const auto bytes = function <= modbus_read_discrete_inputs ? (count + 7) / 8 : 2 * count;
    good = byte_at(answer, 1) == bytes && answer.size() == 2 + bytes;
  } else if (function == modbus_device_identification) {
    good = answer.size() >= 7 && byte_at(answer, 1) == read_device_id && answer.size() == identification_length(answer);
  } else {  // address and value, or address and count, come back
    good = answer.size() == 5 && std::equal(answer.begin(), answer.end(), request.begin());
  }
  return good ? ModbusAnswer::good : ModbusAnswer::not_to_this;
}

std::size_t pdu_length(std::span<const std::byte> pdu, ModbusSide side) noexcept {
  if (pdu.empty()) return 1;
  const auto function = byte_at(pdu, 0);
  const bool is_multiple = function == modbus_write_coils || function == modbus_write_registers;
  const bool is_single = function == modbus_write_coil || function == modbus_write_register;
  if (side == ModbusSide::request) {
    if (is_read(function) || is_single) return 5;
    if (is_multiple) return pdu.size() < 6 ? 6 : 6 + byte_at(pdu, 5);
    return function == modbus_device_identification ? 4 : 0;
  }
  if ((function & modbus_exception) != 0) return 2;
  if (is_single || is_multiple) return 5;
  if (is_read(function)) return pdu.size() < 2 ? 2 : 2 + byte_at(pdu, 1);
  return function == modbus_device_identification ? identification_length(pdu) : 0;
}

}  // namespace trackrod
