#include "drivers/protocol/modbus_settings.hpp"

#include <algorithm>
#include <bit>
#include <cmath>
#include <limits>
#include <map>

namespace trackrod {
namespace {

using namespace std::chrono_literals;
using Type = ModbusPlace::Type;

constexpr int last_address = 65535;

template <class T>
Fields<T> place_fields(const std::string& what, const std::string& doc, Shape<ModbusTable> table) {
  return Fields<T>{what, doc}
      .need("table", &T::table, located(table), "kind of register it is in")
      .need("address", &T::address, located(integer<int>(0, last_address)),
            "number in the message, from 0: \"register 40001\" of many manuals is holding register 0")
      .may("type", &T::type,
           maybe(choice<Type>({{"int16", Type::int16},
                               {"uint16", Type::uint16},
                               {"int32", Type::int32},
                               {"uint32", Type::uint32},
                               {"float32", Type::float32}})),
           "how a register holds it (default: uint16); 32 bits take two registers")
      .may("words", &T::words, choice<ByteOrder>({{"big", ByteOrder::big}, {"little", ByteOrder::little}}),
           "of two registers: which half comes first, the high one (big, default) or the low one")
      .may("scale", &T::scale, located(number(-1e12, 1e12)), "value of one count (default 1)")
      .may("offset", &T::offset, number(-1e12, 1e12), "value of count 0 (default 0)");
}

const Fields<ModbusSetting>& setting_fields() {
  static const auto fields =
      place_fields<ModbusSetting>("modbus_setting", "A value that is written to the device",
                                  choice<ModbusTable>({{"holding", ModbusTable::holding}, {"coil", ModbusTable::coil}}))
          .may("multiple", &ModbusSetting::multiple, flag(),
               "written by the functions for several registers or coils, which some devices know only (default: false)")
          .may("read_back", &ModbusSetting::read_back, flag(),
               "read again after it was written, and compared (default: true)")
          .may("tolerance", &ModbusSetting::tolerance, maybe(number(0, 1e12)),
               "how far what is read back may differ (default: not at all)")
          .may("every", &ModbusSetting::every, maybe(duration(1ms, 1h)),
               "how often it is written again, for a device that stops when it hears nothing (default: only when it "
               "changes)");
  return fields;
}

const Fields<ModbusReading>& reading_fields() {
  static const auto fields = place_fields<ModbusReading>("modbus_reading", "A value that is asked for again and again",
                                                         choice<ModbusTable>({{"holding", ModbusTable::holding},
                                                                              {"input", ModbusTable::input},
                                                                              {"coil", ModbusTable::coil},
                                                                              {"discrete", ModbusTable::discrete}}))
                                 .need("every", &ModbusReading::every, duration(1ms, 1h), "how often it is asked");
  return fields;
}

double lowest(Type type) {
  return type == Type::int16 ? -32768.0 : type == Type::int32 ? -2147483648.0 : type == Type::float32 ? -3.4e38 : 0.0;
}

double highest(Type type) {
  switch (type) {
    case Type::int16:
      return 32767.0;
    case Type::uint16:
      return 65535.0;
    case Type::int32:
      return 2147483647.0;
    case Type::uint32:
      return 4294967295.0;
    case Type::float32:
      break;
  }
  return 3.4e38;
}

void check_place(const ModbusPlace& place, Problems& problems) {
  if (place.scale.value == 0.0) problems.add(place.scale.at, "found a scale of 0", "any other number");
  if (place.is_bit() && place.type)
    problems.add(place.table.at, "found a type for a value of one bit", "no \"type\" with \"coil\" and \"discrete\"");
  if (place.address.value + static_cast<int>(place.count()) > last_address + 1)
    problems.add(place.address.at, "found an address whose second register is beyond the last one",
                 "at most " + std::to_string(last_address - 1) + " for 32 bits");
}

}  // namespace

unsigned ModbusPlace::count() const {
  const auto t = type.value_or(Type::uint16);
  return !is_bit() && t != Type::int16 && t != Type::uint16 ? 2 : 1;
}

double ModbusPlace::value_of(std::span<const std::uint16_t> w) const noexcept {
  std::uint32_t bits = w[0];
  if (count() == 2) {
    const bool high_first = words == ByteOrder::big;
    bits = static_cast<std::uint32_t>(w[high_first ? 0 : 1]) << 16 | w[high_first ? 1 : 0];
  }
  double held = bits;
  switch (type.value_or(Type::uint16)) {
    case Type::int16:
      held = static_cast<std::int16_t>(bits);
      break;
    case Type::int32:
      held = static_cast<std::int32_t>(bits);
      break;
    case Type::float32:
      held = static_cast<double>(std::bit_cast<float>(bits));
      break;
    case Type::uint16:
    case Type::uint32:
      break;
  }
  return scale.value * held + offset;
}

ModbusPlace::Words ModbusPlace::words_of(double value) const noexcept {
  const auto t = type.value_or(Type::uint16);
  const double exact = (value - offset) / scale.value;
  const double wanted = t == Type::float32 && !is_bit() ? exact : std::round(exact);
  const double held = std::clamp(wanted, is_bit() ? 0.0 : lowest(t), is_bit() ? 1.0 : highest(t));
  const auto bits = t == Type::float32 ? std::bit_cast<std::uint32_t>(static_cast<float>(held))
                                       : static_cast<std::uint32_t>(static_cast<std::int64_t>(held));
  const auto low = static_cast<std::uint16_t>(bits), high = static_cast<std::uint16_t>(bits >> 16);
  if (count() == 1) return {{low, 0}, held != wanted};
  const bool high_first = words == ByteOrder::big;
  return {{high_first ? high : low, high_first ? low : high}, held != wanted};
}

FieldInfo ModbusPlace::info(const std::string& name, bool drivable) const {
  const auto t = type.value_or(Type::uint16);
  const double low = is_bit() ? 0.0 : lowest(t), high = is_bit() ? 1.0 : highest(t);
  const double one = scale.value * low + offset, other = scale.value * high + offset;
  const bool continuous = !is_bit() && t == Type::float32;
  return {name,
          !drivable,
          drivable,
          continuous ? 0.0 : std::abs(scale.value),
          continuous ? 0.0 : offset,
          continuous ? 0.0 : std::min(one, other),
          continuous ? 0.0 : std::max(one, other)};
}

const Fields<ModbusSettings>& modbus_fields() {
  static const auto fields =
      Fields<ModbusSettings>{"modbus", "A device that speaks Modbus, such as a drive or a box of inputs and outputs"}
          .need("transport", &ModbusSettings::transport,
                choice<ModbusTransport>({{"rtu", ModbusTransport::rtu}, {"tcp", ModbusTransport::tcp}}),
                "how messages are carried: rtu on a serial line, tcp on a TCP connection")
          .need("unit", &ModbusSettings::unit, located(integer<int>(0, 255)),
                "address of the device; on a serial line 1 to 247")
          .may("settings", &ModbusSettings::settings, dictionary(object(setting_fields)),
               "values that are written, by name")
          .may("readings", &ModbusSettings::readings, dictionary(object(reading_fields)),
               "values that are read, by name")
          .may("identify", &ModbusSettings::identify, flag(),
               "ask once for maker, product and revision (function 43); not all devices know it (default: false)")
          .may("timeout", &ModbusSettings::timeout, duration(1ms, 10s), "longest wait for an answer (default: 200 ms)")
          .may("gap", &ModbusSettings::gap, duration(500us, 1s),
               "rtu: silence between messages, 3.5 characters: 1.75 ms from 19200 bit/s on (default), 4.1 ms at 9600");
  return fields;
}

std::vector<FieldInfo> check_modbus(const ModbusSettings& settings, Problems& problems) {
  std::vector<FieldInfo> all;
  std::map<std::string, Where> first;
  const auto add = [&](const Name& name, const ModbusPlace& place, bool drivable) {
    check_place(place, problems);
    const auto [seen, is_new] = first.emplace(name.value, name.at);
    if (is_new) {
      all.push_back(place.info(name.value, drivable));
      return;
    }
    problems.add(name.at,
                 "the name '" + name.value + "' stands in line " + std::to_string(seen->second.line) + " already",
                 "each name once among settings and readings", "name what is measured after that: \"measured_speed\"");
  };
  if (settings.transport == ModbusTransport::rtu && (settings.unit.value < 1 || settings.unit.value > 247))
    problems.add(settings.unit.at, "found unit " + std::to_string(settings.unit.value),
                 "1 to 247 on a serial line (0 would speak to all, and none would answer)");
  for (const auto& [name, setting] : settings.settings) add(name, setting, true);
  for (const auto& [name, reading] : settings.readings) add(name, reading, false);
  return all;
}

}  // namespace trackrod
