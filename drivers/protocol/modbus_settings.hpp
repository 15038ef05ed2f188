#pragma once
// What a bench file says about a device that speaks Modbus: kind "modbus".

#include <array>
#include <optional>
#include <span>
#include <string>
#include <utility>
#include <vector>

#include "drivers/protocol/bits.hpp"
#include "drivers/protocol/modbus_carrier.hpp"
#include "harness/base/catalogue.hpp"
#include "harness/base/fields.hpp"

namespace trackrod {

// Where a value is kept, and how. value = scale * count + offset
struct ModbusPlace {
  enum class Type : std::uint8_t { int16, uint16, int32, uint32, float32 };
  Located<ModbusTable> table;
  Located<int> address;  // from 0, as in the message
  std::optional<Type> type;
  ByteOrder words{ByteOrder::big};  // of a value in two registers: which half comes first
  Located<double> scale{1.0, {}};
  double offset{0.0};

  bool is_bit() const { return holds_bits(table.value); }
  unsigned count() const;  // registers, or one bit
  double value_of(std::span<const std::uint16_t> words) const noexcept;
  struct Words {
    std::array<std::uint16_t, 2> words;
    bool clamped;  // the value was beyond what the place holds
  };
  // The nearest. `value` is finite.
  Words words_of(double value) const noexcept;
  FieldInfo info(const std::string& name, bool drivable) const;
};

// A value that is written, and read back where that can be done.
struct ModbusSetting : ModbusPlace {
  bool multiple{false};
  bool read_back{true};
  std::optional<double> tolerance;  // default: exactly what was written
  std::optional<Duration> every;    // written again and again, for a device that stops when it hears nothing
};

// A value that is asked for again and again.
struct ModbusReading : ModbusPlace {
  Duration every{};
};

struct ModbusSettings {
  ModbusTransport transport{ModbusTransport::rtu};
  Located<int> unit;
  std::vector<std::pair<Name, ModbusSetting>> settings;
  std::vector<std::pair<Name, ModbusReading>> readings;
  bool identify{false};
  Duration timeout{std::chrono::milliseconds{200}};
  Duration gap{std::chrono::microseconds{1750}};  // 3.5 characters: at 19200 bit/s and above
};

const Fields<ModbusSettings>& modbus_fields();
// First the settings, then the readings, each in the order of the file.
std::vector<FieldInfo> check_modbus(const ModbusSettings& settings, Problems& problems);

}  // namespace trackrod
