#pragma once
// What a bench file says about a unit whose diagnosis is read: kind "uds".

#include <cstdint>
#include <optional>
#include <string>
#include <utility>
#include <vector>

#include "drivers/protocol/bits.hpp"
#include "harness/base/catalogue.hpp"
#include "harness/base/fields.hpp"

namespace trackrod {

// The fault memory, asked again and again.
struct UdsFaults {
  Duration every{};
  int counts{0};                             // bit of the status byte: an entry with it set is a fault
  std::vector<std::pair<Name, Name>> codes;  // field of its own, by name: six digits, "123456"
  std::optional<Name> clear;                 // field that clears the memory when it goes to 1
};

// A number that is read by identifier. The bits are those of the data behind the identifier.
// value = scale * count + offset
struct UdsValue {
  Name id;  // four digits, "F40D"
  Located<int> start, bits;
  ByteOrder order{ByteOrder::big};
  bool is_signed{false};
  Located<double> scale{1.0, {}};
  double offset{0.0};
  Duration every{};
};

struct UdsSettings {
  std::optional<int> session;  // kept with tester present; none: the session that the unit starts with
  Duration tester_present{std::chrono::seconds{2}};
  std::optional<UdsFaults> faults;
  std::vector<std::pair<Name, UdsValue>> values;
  std::optional<std::vector<std::pair<Name, Name>>> identity;  // texts, by name: identifier
  Duration timeout{std::chrono::milliseconds{150}};
  Duration pending_timeout{std::chrono::milliseconds{5500}};
};

const Fields<UdsSettings>& uds_fields();
// With faults: "fault_count", the named codes, the clearing field; then the values.
std::vector<FieldInfo> check_uds(const UdsSettings& settings, Problems& problems);
void check_uds_over(const UdsSettings& settings, Carries carries, const Where& link, Problems& problems);

// Name and identifier of each text, those of the file or the usual five.
std::vector<std::pair<std::string, std::uint16_t>> uds_identity(const UdsSettings& settings);
BitSpan place_of(const UdsValue& value);

}  // namespace trackrod
