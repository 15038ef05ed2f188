#pragma once
// Requests and answers of the Modbus application protocol (V1.1b3), without what carries them.

#include <array>
#include <cstddef>
#include <cstdint>
#include <span>
#include <string>

namespace trackrod {

enum class ModbusTable : std::uint8_t { coil, discrete, input, holding };
constexpr bool holds_bits(ModbusTable table) { return table == ModbusTable::coil || table == ModbusTable::discrete; }

// Numbers of section 5 and 6.
enum ModbusFunction : std::uint8_t {
  modbus_read_coils = 1,
  modbus_read_discrete_inputs = 2,
  modbus_read_holding_registers = 3,
  modbus_read_input_registers = 4,
  modbus_write_coil = 5,
  modbus_write_register = 6,
  modbus_write_coils = 15,
  modbus_write_registers = 16,
  modbus_device_identification = 43,
  modbus_exception = 0x80  // set in the function of an answer that refuses
};
ModbusFunction read_function(ModbusTable table) noexcept;
// "read holding registers"; "function 99" for one that is not used here.
std::string modbus_function_name(unsigned function);
// "illegal data address"; "exception 99".
std::string modbus_exception_name(unsigned code);

// A short message on its way out; enough for all requests of this bench.
class ModbusPdu {
 public:
  static constexpr std::size_t longest = 32;
  void clear() noexcept { size_ = 0; }
  // High byte first, as all of Modbus. More than `longest` bytes in all is a fault of the program.
  ModbusPdu& byte(unsigned value) noexcept;
  ModbusPdu& word(unsigned value) noexcept { return byte(value >> 8).byte(value); }
  std::span<const std::byte> bytes() const noexcept { return {bytes_.data(), size_}; }
  unsigned function() const noexcept { return std::to_integer<unsigned>(bytes_[0]); }

 private:
  std::array<std::byte, longest> bytes_{};
  std::size_t size_{0};
};

// `count` registers or bits.
void make_read(ModbusPdu& pdu, ModbusTable table, unsigned address, unsigned count) noexcept;
// One value: the words of a holding register, or one coil (its word is 0 or 1). `multiple`: by the functions 15 and 16,
// which some devices know only; more than one word needs it.
void make_write(ModbusPdu& pdu, ModbusTable table, unsigned address, std::span<const std::uint16_t> words,
                bool multiple) noexcept;
// Basic device identification from `object` on (section 6.21).
void make_identification(ModbusPdu& pdu, unsigned object) noexcept;

enum class ModbusAnswer : std::uint8_t { not_to_this, good, refused };
// What an answer says to a request. It is good only when its form is the one that the request asks for: as many bytes
// as were wanted, the same address and value written.
ModbusAnswer judge_answer(std::span<const std::byte> request, std::span<const std::byte> answer) noexcept;

// How long the message that begins with `pdu` is, as far as these bytes tell: more than there are when they are too
// few; 0 when no such function is known.
enum class ModbusSide : std::uint8_t { request, answer };
std::size_t pdu_length(std::span<const std::byte> pdu, ModbusSide side) noexcept;

inline unsigned byte_at(std::span<const std::byte> bytes, std::size_t at) noexcept {
  return std::to_integer<unsigned>(bytes[at]);
}
inline unsigned word_at(std::span<const std::byte> bytes, std::size_t at) noexcept {
  return byte_at(bytes, at) << 8 | byte_at(bytes, at + 1);
}

}  // namespace trackrod
