#pragma once
// What this build of the program knows: every kind of link, protocol and score. (Stimuli are the plan reader's own
// table.) The command line puts it together from each folder's own table and hands it, as a value, to the readers of
// bench and plan files.

#include <string>
#include <vector>

#include "harness/base/fields.hpp"
#include "harness/base/value_list.hpp"
#include "harness/base/message_fault.hpp"

namespace trackrod {

// What a link moves: whole messages, bytes without bounds, or CAN frames (as datagrams, can_frame.hpp).
enum class Carries : std::uint8_t { datagrams, stream, can_frames };

// A value that a device's messages carry.
struct FieldInfo {
  std::string name;
  bool readable{false}, drivable{false};
  double resolution{0.0}, resolution_offset{0.0};  // value = resolution * count + resolution_offset; 0 = continuous
  double low{0.0}, high{0.0};                      // what the field can hold; low == high: no bound
  std::optional<ListAbility> list{};  // driven by lists too
  bool counted{false};  // driven in messages that count, so that who receives them can tell a lost or repeated one
};

struct ProtocolEntry {
  KindEntry settings;
  // The fields that these settings describe. Problems: what goes beyond single keys (overlapping bits, unknown
  // checksum).
  std::function<std::vector<FieldInfo>(const std::any& settings, Problems& problems)> fields;
  // Problems with these settings on a link that stands at `link` in the file and carries such. Empty: goes over any.
  std::function<void(const std::any& settings, Carries carries, const Where& link, Problems& problems)> over{};
  // The messages that can be made wrong on their way, of settings that were read well. Empty: a protocol that asks and
  // answers, or has none that can.
  std::function<std::vector<MessageInfo>(const std::any& settings)> messages{};
};

// A signal that a score reads: "input", "output".
struct ScoreRole {
  enum class Need : std::uint8_t { always, optional };
  std::string name;
  std::string doc;
  Need need{Need::always};
};

// A finding that a score gives, so that a plan can set a limit on it.
struct FindingKind {
  std::string name;  // without the score's name in front: "dead_time"
  std::string unit;  // "ms"; or "input" / "output" for the unit of the signal in that role, "output/s" for its rate
  std::string doc;
};

// A finding's unit with the words "input" and "output" replaced by the units of the signals in these roles, given as
// role and unit: "output/input" -> "(deg)/(mm)", or "1" where both have one unit; "input" -> "deg".
std::string unit_with_roles(std::string kind_unit, const std::vector<std::pair<std::string, std::string>>& role_units);

struct ScoreEntry {
  KindEntry settings;  // name, doc and the table of its settings
  std::vector<ScoreRole> roles;
  std::vector<FindingKind> findings;
  bool by_cycle{false};  // it takes its steps cycle by cycle, and can do so while a run goes on
};

struct Catalogue {
  std::vector<KindEntry> links;
  std::vector<ProtocolEntry> protocols;
  std::vector<ScoreEntry> scores;
  std::vector<FieldInfo> device_fields{};  // that every device has, whatever its protocol
  // Of a link that was read well; empty functions: not known.
  std::function<Carries(const Chosen& link)> carries{};
  std::function<std::string(const Chosen& link)> sole{};  // what only one device can open; "" where several can
  // What a device of that protocol can say of itself, by name: "serial". Of a protocol that was read well.
  std::function<std::vector<std::string>(const Chosen& protocol)> identity{};
};

}  // namespace trackrod
