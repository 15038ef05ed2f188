#include "drivers/protocol/canopen_settings.hpp"

#include <algorithm>
#include <cmath>
#include <map>

namespace trackrod {
namespace {

using namespace std::chrono_literals;

Shape<ObjectAddress> object_address() {
  const auto written = text();
  return {[written](const Node& n, ObjectAddress& out, Problems& problems) {
            std::string t;
            if (!written.read(n, t, problems)) return false;
            const auto address = parse_object(t);
            if (!address)
              problems.add(n.at, "found '" + t + "'", "index and sub-index in hexadecimal, as \"6064:00\"");
            else
              out = *address;
            return address.has_value();
          },
          written.schema};
}

Shape<ObjectType> object_type() {
  return choice<ObjectType>({{"boolean", ObjectType::boolean},
                             {"i8", ObjectType::i8},
                             {"i16", ObjectType::i16},
                             {"i32", ObjectType::i32},
                             {"i64", ObjectType::i64},
                             {"u8", ObjectType::u8},
                             {"u16", ObjectType::u16},
                             {"u32", ObjectType::u32},
                             {"u64", ObjectType::u64},
                             {"f32", ObjectType::f32},
                             {"f64", ObjectType::f64}});
}

template <class T>
Fields<T> value_fields(const std::string& what, const std::string& doc) {
  return Fields<T>{what, doc}
      .need("object", &T::object, located(object_address()), "index and sub-index, as \"6064:00\"")
      .need("type", &T::type, object_type(), "how the number stands there")
      .may("scale", &T::scale, located(number(-1e12, 1e12)), "value of the number 1 (default 1)")
      .may("offset", &T::offset, number(-1e12, 1e12), "value of the number 0 (default 0)");
}

const Fields<CanopenRead>& read_fields() {
  static const auto fields =
      value_fields<CanopenRead>("canopen_read", "An object that is read: value = scale * number + offset")
          .may("every", &CanopenRead::every, maybe(duration(1ms, 1h)),
               "how often it is asked for where no PDO of the device brings it");
  return fields;
}

const Fields<CanopenValue>& drive_fields() {
  static const auto fields =
      value_fields<CanopenValue>("canopen_drive", "An object that is written: value = scale * number + offset");
  return fields;
}

const Fields<CanopenIdentity>& identity_fields() {
  const auto word = [] { return maybe(whole_number(0, 0xFFFFFFFF)); };
  static const auto fields =
      Fields<CanopenIdentity>{"canopen_identity", "What the device must say of itself before anything is driven"}
          .may("vendor", &CanopenIdentity::vendor, word(), "1018:01")
          .may("product", &CanopenIdentity::product, word(), "1018:02")
          .may("revision", &CanopenIdentity::revision, word(), "1018:03")
          .may("serial", &CanopenIdentity::serial, word(), "1018:04")
          .may("name", &CanopenIdentity::name, maybe(text()), "text that 1008:00 must contain");
  return fields;
}

template <class T>
Fields<T> heartbeat_table(const std::string& what, const std::string& doc) {
  return Fields<T>{what, doc}
      .need("every", &T::every, located(duration(1ms, 10s)), "how often it is sent; whole milliseconds")
      .need("lost_after", &T::lost_after, located(duration(2ms, 60s)),
            "silence that means lost; whole milliseconds, longer than 'every'");
}

const Fields<CanopenHeartbeat>& heartbeat_fields() {
  static const auto fields = heartbeat_table<CanopenHeartbeat>("canopen_heartbeat", "Heartbeat of the device");
  return fields;
}

const Fields<CanopenOwnHeartbeat>& own_heartbeat_fields() {
  static const auto fields =
      heartbeat_table<CanopenOwnHeartbeat>("canopen_own_heartbeat", "Heartbeat of the bench, which the device watches")
          .need("node", &CanopenOwnHeartbeat::node, located(integer<int>(1, 127)),
                "node number that the bench has; no device of the bus has it");
  return fields;
}

void check_heartbeat(const CanopenHeartbeat& h, Problems& problems) {
  for (const auto* time : {&h.every, &h.lost_after})
    if (time->value % 1ms != Duration{} || time->value > 65535ms)
      problems.add(time->at, "found a time that 16 bits of milliseconds do not hold", "whole milliseconds up to 65535");
  if (h.lost_after.value <= h.every.value)
    problems.add(h.lost_after.at, "found a loss before the next heartbeat is due", "more than 'every'",
                 "about three times 'every' forgives a lost frame");
}

FieldInfo info_of(const std::string& name, const CanopenValue& value) {
  if (is_float(value.type)) return {name, false, false, 0.0, 0.0, 0.0, 0.0};
  const auto [low, high] = bounds_of(value.type);
  const double a = value.scale.value * low + value.offset, b = value.scale.value * high + value.offset;
  return {name, false, false, std::abs(value.scale.value), value.offset, std::min(a, b), std::max(a, b)};
}

FieldInfo own(const std::string& name, bool readable, bool drivable, double low, double high) {
  return {name, readable, drivable, 1.0, 0.0, low, high};
}

}  // namespace

const Fields<CanopenSettings>& canopen_fields() {
  static const auto fields =
      Fields<CanopenSettings>{"canopen",
                              "A CANopen device (CiA 301), such as a drive (CiA 402) or an encoder (CiA 406)"}
          .need("node", &CanopenSettings::node, located(integer<int>(1, 127)), "its node number")
          .may("profile", &CanopenSettings::profile, maybe(integer<int>(300, 500)),
               "number of its CiA profile, checked against 1000:00; 402: it is driven as a drive")
          .may("identity", &CanopenSettings::identity, object(identity_fields), "what it must say of itself")
          .may("heartbeat", &CanopenSettings::heartbeat, maybe(object(heartbeat_fields)),
               "its heartbeat: set at start-up, then watched")
          .may("own_heartbeat", &CanopenSettings::own_heartbeat, maybe(object(own_heartbeat_fields)),
               "the bench's heartbeat, whose loss the device is to notice")
          .may("cycle", &CanopenSettings::cycle, duration(500us, 10s),
               "how often PDOs are sent, and SYNC after them (default: 1 ms)")
          .may("sync", &CanopenSettings::sync, flag(), "true: SYNC is sent (default: false)")
          .may("timeout", &CanopenSettings::timeout, duration(1ms, 10s), "longest wait for an answer (default: 100 ms)")
          .may("transition_timeout", &CanopenSettings::transition_timeout, duration(1ms, 1min),
               "longest time that a drive takes from one state to the next (default: 1 s)")
          .may("also_listen", &CanopenSettings::also_listen, list(integer<int>(1, 0x7FF), 0, 16),
               "identifiers of its PDOs that its node number does not give")
          .may("read", &CanopenSettings::read, dictionary(object(read_fields)), "objects that are read, by name")
          .may("drive", &CanopenSettings::drive, dictionary(object(drive_fields)), "objects that are written, by name");
  return fields;
}

std::vector<FieldInfo> check_canopen(const CanopenSettings& s, Problems& problems) {
  std::vector<FieldInfo> all;
  std::map<std::string, Where> first;
  std::vector<ObjectAddress> driven;
  const auto once = [&](const Name& name, const CanopenValue& value) {
    if (!first.emplace(name.value, name.at).second)
      problems.add(name.at, "the name '" + name.value + "' stands there already",
                   "each name once in 'read' and 'drive'");
    const std::vector<std::string> taken{"nmt_state", "drive_state", "drive_mode", "drive_wanted", "drive_reset"};
    if (std::find(taken.begin(), taken.end(), name.value) != taken.end())
      problems.add(name.at, "'" + name.value + "' is a field that the protocol has by itself", "another name");
    if (value.scale.value == 0.0) problems.add(value.scale.at, "found a scale of 0", "any other number");
  };
  for (const auto& [name, value] : s.read) {
    once(name, value);
    all.push_back(info_of(name.value, value));
    all.back().readable = true;
  }
  for (const auto& [name, value] : s.drive) {
    once(name, value);
    const auto& object = value.object.value;
    if (std::find(driven.begin(), driven.end(), object) != driven.end())
      problems.add(value.object.at, object.text() + " is driven already", "each object once in 'drive'");
    if (s.is_drive() && (object == ObjectAddress{0x6040, 0} || object == ObjectAddress{0x6060, 0}))
      problems.add(value.object.at, object.text() + " belongs to the protocol",
                   "'drive_wanted', 'drive_mode' and 'drive_reset' for control word and mode");
    driven.push_back(object);
    all.push_back(info_of(name.value, value));
    all.back().drivable = true;
  }
  if (s.drive.size() > most_driven)
    problems.add(s.drive[most_driven].first.at, "found " + std::to_string(s.drive.size()) + " driven objects",
                 "at most " + std::to_string(most_driven));
  if (s.heartbeat) check_heartbeat(*s.heartbeat, problems);
  if (s.own_heartbeat) {
    check_heartbeat(*s.own_heartbeat, problems);
    if (s.own_heartbeat->node.value == s.node.value)
      problems.add(s.own_heartbeat->node.at, "the bench has the device's node number", "another number");
  }
  all.push_back(own("nmt_state", true, false, 0, 127));
  if (s.is_drive()) {
    all.push_back(own("drive_state", true, false, 0, 7));
    all.push_back(own("drive_mode", true, true, -128, 127));
    all.push_back(own("drive_wanted", false, true, 1, 5));
    all.push_back(own("drive_reset", false, true, 0, 1));
  }
  return all;
}

void check_canopen_over(const CanopenSettings&, Carries carries, const Where& link, Problems& problems) {
  if (carries != Carries::can_frames)
    problems.add(link, "the protocol 'canopen' sends CAN frames, and the link carries none",
                 "a link to a CAN bus for it");
}

}  // namespace trackrod
