#include "drivers/protocol/uds_settings.hpp"

#include <algorithm>
#include <cmath>
#include <map>

#include "drivers/protocol/uds_messages.hpp"
#include "harness/base/hex.hpp"

namespace trackrod {
namespace {

using namespace std::chrono_literals;

constexpr int most_bits = 53;         // whole numbers up to 2^53 are exact as double
constexpr int longest_data = 64 * 8;  // bits of what is read by one identifier

Shape<std::vector<std::pair<Name, Name>>> names_and_numbers() { return dictionary(located(text())); }

const Fields<UdsFaults>& fault_fields() {
  static const auto fields = [] {
    std::vector<std::pair<std::string, int>> bits;
    for (const auto bit : uds_status_bits) bits.emplace_back(std::string{bit}, static_cast<int>(bits.size()));
    return Fields<UdsFaults>{"uds_faults", "Fault memory, read again and again"}
        .need("every", &UdsFaults::every, duration(5ms, 1h), "how often it is read")
        .need("counts", &UdsFaults::counts, choice<int>(bits), "bit of the status that makes an entry count as a fault")
        .may("codes", &UdsFaults::codes, names_and_numbers(),
             "codes with a field of their own, 1 while the entry counts: name and six hexadecimal digits, \"123456\"")
        .may("clear", &UdsFaults::clear, maybe(name()),
             "name of a field to drive: the memory is cleared as it goes to 1");
  }();
  return fields;
}

const Fields<UdsValue>& value_fields() {
  static const auto fields =
      Fields<UdsValue>{"uds_value", "A number that is read by identifier: value = scale * count + offset"}
          .need("id", &UdsValue::id, located(text()), "identifier, four hexadecimal digits, \"F40D\"")
          .need("start", &UdsValue::start, located(integer<int>(0, longest_data - 1)),
                "bit it starts at, in the data behind the identifier: the most significant one, or the least in little "
                "order")
          .need("bits", &UdsValue::bits, located(integer<int>(1, most_bits)), "how many bits it has")
          .may("order", &UdsValue::order, choice<ByteOrder>({{"little", ByteOrder::little}, {"big", ByteOrder::big}}),
               "byte order (default: big)")
          .may("signed", &UdsValue::is_signed, flag(), "two's complement (default: not signed)")
          .may("scale", &UdsValue::scale, located(number(-1e12, 1e12)), "value of one count (default 1)")
          .may("offset", &UdsValue::offset, number(-1e12, 1e12), "value of count 0 (default 0)")
          .need("every", &UdsValue::every, duration(5ms, 1h), "how often it is read");
  return fields;
}

void check_hex(const Name& number, std::size_t digits, Problems& problems) {
  if (!read_hex(number.value, digits))
    problems.add(number.at, "found \"" + number.value + "\"",
                 std::to_string(digits) + " hexadecimal digits, as \"" + (digits == 4 ? "F190" : "0A1B2C") + "\"");
}

FieldInfo value_info(const std::string& name, const UdsValue& value) {
  const double range = std::ldexp(1.0, value.bits.value);
  const double low = value.is_signed ? -range / 2 : 0.0, high = value.is_signed ? range / 2 - 1 : range - 1;
  const double one = value.scale.value * low + value.offset, other = value.scale.value * high + value.offset;
  return {name, true, false, std::abs(value.scale.value), value.offset, std::min(one, other), std::max(one, other)};
}

void check_value(const UdsValue& value, Problems& problems) {
  check_hex(value.id, 4, problems);
  if (value.scale.value == 0.0) problems.add(value.scale.at, "found a scale of 0", "any other number");
  const int in_byte = value.order == ByteOrder::big ? 7 - value.start.value % 8 : value.start.value % 8;
  if (in_byte + value.bits.value > 64)
    problems.add(value.bits.at, "found a value that touches more than 8 bytes", "at most 57 bits across bytes");
}

}  // namespace

// ISO 14229-1, annex C.1.
std::vector<std::pair<std::string, std::uint16_t>> uds_identity(const UdsSettings& settings) {
  if (!settings.identity)
    return {{"part_number", 0xF187},
            {"serial", 0xF18C},
            {"hardware", 0xF191},
            {"software", 0xF189},
            {"supplier_software", 0xF195}};
  std::vector<std::pair<std::string, std::uint16_t>> all;
  for (const auto& [name, id] : *settings.identity)
    all.emplace_back(name.value, static_cast<std::uint16_t>(read_hex(id.value, 4).value_or(0)));
  return all;
}

BitSpan place_of(const UdsValue& value) { return {value.start.value, value.bits.value, value.order}; }

const Fields<UdsSettings>& uds_fields() {
  static const auto fields =
      Fields<UdsSettings>{"uds", "Diagnosis of the unit: fault memory and values by identifier (ISO 14229)"}
          .may("session", &UdsSettings::session, maybe(integer<int>(1, 127)),
               "diagnostic session that is entered and kept, 3 = extended (default: the one it starts in)")
          .may("tester_present", &UdsSettings::tester_present, duration(100ms, 10s),
               "how often the session is kept alive (default: 2 s)")
          .may("faults", &UdsSettings::faults, maybe(object(fault_fields)), "the fault memory")
          .may("values", &UdsSettings::values, dictionary(object(value_fields)), "values that are read, by name")
          .may("identity", &UdsSettings::identity, maybe(names_and_numbers()),
               "texts that tell which unit it is, each read once: name and identifier (default: part_number F187, "
               "serial "
               "F18C, hardware F191, software F189, supplier_software F195)")
          .may("timeout", &UdsSettings::timeout, duration(10ms, 10s),
               "longest wait for an answer: the unit's P2 and the way there and back (default: 150 ms)")
          .may("pending_timeout", &UdsSettings::pending_timeout, duration(100ms, 60s),
               "the same after the unit said that it takes longer: P2* (default: 5.5 s)");
  return fields;
}

std::vector<FieldInfo> check_uds(const UdsSettings& settings, Problems& problems) {
  std::vector<FieldInfo> all;
  std::map<std::string, Where> first;
  const auto add = [&](const Name& name, FieldInfo info) {
    const auto [seen, is_new] = first.emplace(name.value, name.at);
    if (is_new)
      all.push_back(std::move(info));
    else
      problems.add(name.at, "the name '" + name.value + "' is taken", "each name once among codes, 'clear' and values");
  };
  if (settings.faults) {
    all.push_back({"fault_count", true, false, 1.0, 0.0, 0.0, 65535.0});
    first.emplace("fault_count", Where{});
    for (const auto& [name, code] : settings.faults->codes) {
      check_hex(code, 6, problems);
      add(name, {name.value, true, false, 1.0, 0.0, 0.0, 1.0});
    }
    if (const auto& clear = settings.faults->clear) add(*clear, {clear->value, false, true, 1.0, 0.0, 0.0, 1.0});
  }
  for (const auto& [name, value] : settings.values) {
    check_value(value, problems);
    add(name, value_info(name.value, value));
  }
  if (settings.identity)
    for (const auto& [name, id] : *settings.identity) check_hex(id, 4, problems);
  return all;
}

void check_uds_over(const UdsSettings&, Carries carries, const Where& link, Problems& problems) {
  if (carries != Carries::datagrams)
    problems.add(link, "the protocol 'uds' takes whole messages, and this link carries pieces of them",
                 "a link of kind \"isotp\", which puts the frames of a CAN bus together");
}

}  // namespace trackrod
