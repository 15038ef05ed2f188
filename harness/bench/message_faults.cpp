// Faults of messages: their table.

#include <algorithm>

#include "harness/bench/draft.hpp"
#include "harness/bench/fault_kinds.hpp"

namespace trackrod {
namespace {

using namespace std::chrono_literals;

// As written in the file; each kind fills its part.
struct OfMessage {
  Name device, message;
  Located<Duration> time;
  int times{1};
  Located<int> step;
  bool in_place{false};
};

struct MessageKind {
  std::string name, doc;
  MessageFault::Kind kind;
  // What it has beside `device`.
  void (*keys)(Fields<OfMessage>&);
  // Whether such a message can have it. False after telling why not.
  bool (*fits)(const OfMessage&, const MessageInfo&, Draft&);
};

bool always(const OfMessage&, const MessageInfo&, Draft&) { return true; }

// Nothing is finer than the loop.
bool at_least_a_tick(const OfMessage& w, Draft& draft) {
  if (w.time.value >= draft.bench.tick) return true;
  draft.problems.add(w.time.at, "found " + with_unit(seconds(w.time.value) * 1e3, "ms"),
                     "at least one tick of the loop, " + with_unit(seconds(draft.bench.tick) * 1e3, "ms"));
  return false;
}
bool in_whole_ticks(const OfMessage& w, const MessageInfo&, Draft& draft) { return at_least_a_tick(w, draft); }

void message_key(Fields<OfMessage>& f) {
  f.need("message", &OfMessage::message, name(), "the message, as the device's protocol names it");
}
void no_keys(Fields<OfMessage>&) {}

void late_keys(Fields<OfMessage>& f) {
  message_key(f);
  f.need("by", &OfMessage::time, located(duration(100us, 1s)), "how late it arrives");
}

void times_key(Fields<OfMessage>& f, const std::string& doc) {
  f.may("times", &OfMessage::times, integer<int>(1, 100), doc);
}
void repeat_keys(Fields<OfMessage>& f) {
  message_key(f);
  times_key(f, "how often each goes out again; default 1");
  f.may("in_place", &OfMessage::in_place, flag(), "true: instead of the next ones, as from a sender that hangs");
}

void count_keys(Fields<OfMessage>& f) {
  message_key(f);
  f.need("step", &OfMessage::step, located(integer<int>(-1000, 1000)),
         "by which the counter goes on from message to message; 1 is right, 0 stands still");
}
bool can_miscount(const OfMessage& w, const MessageInfo& message, Draft& draft) {
  if (message.counts == 0) {
    draft.problems.add(w.message.at, "'" + message.name + "' has no counter", "a message with 'counter' or 'e2e'");
    return false;
  }
  const auto all = static_cast<std::int64_t>(message.counts);
  if ((std::int64_t{w.step.value} - 1) % all != 0) return true;
  draft.problems.add(w.step.at, "found " + std::to_string(w.step.value) + ", which is as good as 1",
                     "another step of a counter that has " + std::to_string(all) + " values");
  return false;
}

bool can_spoil(const OfMessage& w, const MessageInfo& message, Draft& draft) {
  if (message.has_checksum) return true;
  draft.problems.add(w.message.at, "'" + message.name + "' has no checksum", "a message with 'checksum' or 'e2e'");
  return false;
}

void length_keys(Fields<OfMessage>& f) {
  message_key(f);
  f.need("by", &OfMessage::step, located(integer<int>(-1471, 1471)), "bytes more; below 0 so many less");
}
// "1 to 8 or 12"
std::string in_words(const std::vector<int>& lengths) {
  std::vector<std::string> runs;
  for (std::size_t i = 0, end = 0; i < lengths.size(); i = end) {
    for (end = i + 1; end < lengths.size() && lengths[end] == lengths[end - 1] + 1;) ++end;
    runs.push_back(std::to_string(lengths[i]) +
                   (end - i > 1 ? " to " + std::to_string(lengths[end - 1]) : std::string{}));
  }
  std::string words;
  for (std::size_t i = 0; i < runs.size(); ++i) words += (i == 0 ? "" : i + 1 == runs.size() ? " or " : ", ") + runs[i];
  return words;
}
bool can_resize(const OfMessage& w, const MessageInfo& message, Draft& draft) {
  const int length = message.length + w.step.value;
  if (w.step.value != 0 && std::ranges::binary_search(message.lengths, length)) return true;
  draft.problems.add(w.step.at, "found " + std::to_string(w.step.value) + ", a length of " + std::to_string(length),
                     "another length than " + std::to_string(message.length) +
                         " that its link carries: " + in_words(message.lengths) + " bytes");
  return false;
}

void cycle_keys(Fields<OfMessage>& f) {
  message_key(f);
  f.need("cycle", &OfMessage::time, located(duration(100us, 10s)), "how often it is sent instead");
}
bool has_another_cycle(const OfMessage& w, const MessageInfo& message, Draft& draft) {
  if (message.cycle == Duration{}) {
    draft.problems.add(w.message.at, "'" + message.name + "' is sent on a change only", "a message with a 'cycle'");
    return false;
  }
  if (w.time.value != message.cycle) return at_least_a_tick(w, draft);
  draft.problems.add(w.time.at, "the cycle that '" + message.name + "' has", "another one");
  return false;
}

void babble_keys(Fields<OfMessage>& f) {
  message_key(f);
  f.need("every", &OfMessage::time, located(duration(100us, 10s)), "how often more of it is sent");
  times_key(f, "how many more each time; default 1");
}

const std::vector<MessageKind>& message_kinds() {
  using K = MessageFault::Kind;
  static const std::vector<MessageKind> table{
      {"dropped", "The message is sent, and does not arrive", K::dropped, message_key, always},
      {"held_back", "The message arrives late, in order", K::held_back, late_keys, in_whole_ticks},
      {"repeated", "The message goes out again as it was, counter and all", K::repeated, repeat_keys, always},
      {"miscounted", "The message's counter goes on in wrong steps, all else is right", K::miscounted, count_keys,
       can_miscount},
      {"corrupted", "The message's checksum does not fit, all else is right", K::corrupted, message_key, can_spoil},
      {"wrong_length", "The message has more or fewer bytes", K::wrong_length, length_keys, can_resize},
      {"wrong_cycle", "The message is sent at another cycle", K::wrong_cycle, cycle_keys, has_another_cycle},
      {"silent", "The device is sent nothing at all", K::silent, no_keys, always},
      {"babbling", "More of the message is sent beside its cycle, all of it good", K::babbling, babble_keys,
       in_whole_ticks},
  };
  return table;
}

Fields<OfMessage> fields_of(const MessageKind& kind) {
  Fields<OfMessage> fields{kind.name + " message", kind.doc};
  fields.need("device", &OfMessage::device, name(), "the device that it is sent to");
  kind.keys(fields);
  return fields;
}

// The device, with messages that can be made wrong.
std::optional<std::size_t> find_device(const Name& name, Draft& draft) {
  const auto index = draft.bench.find_device(name.value);
  if (index && (!draft.devices[*index].sound || !draft.devices[*index].messages.empty())) return index;
  std::vector<std::string> fitting;
  std::string allowed;
  for (std::size_t d = 0; d < draft.devices.size(); ++d)
    if (!draft.devices[d].messages.empty()) {
      fitting.push_back(draft.bench.devices[d].name);
      allowed += (allowed.empty() ? ": '" : ", '") + fitting.back() + "'";
    }
  if (index)
    draft.problems.add(name.at,
                       "'" + name.value + "' with the protocol '" + draft.bench.devices[*index].protocol.kind +
                           "' is sent no messages that can be made wrong",
                       "a device that is sent frames" + allowed);
  else if (draft.devices_known)
    draft.problems.add(name.at, "the bench has no device '" + name.value + "'",
                       "a device that is sent frames" + allowed, did_you_mean(name.value, fitting));
  return {};
}

std::optional<std::size_t> find_message(const Name& name, const std::vector<MessageInfo>& messages, Draft& draft) {
  const auto at = std::ranges::find(messages, name.value, &MessageInfo::name);
  if (at != messages.end()) return static_cast<std::size_t>(at - messages.begin());
  std::vector<std::string> names;
  for (const auto& m : messages) names.push_back(m.name);
  draft.problems.add(name.at, "no message '" + name.value + "' is sent to this device", "one that is sent to it",
                     did_you_mean(name.value, names));
  return {};
}

// Setpoints that were lost come back as a jump: that moves the rig, not the unit.
bool moves_the_rig(const MessageInfo& message, std::size_t device, const Where& at, Draft& draft) {
  for (std::size_t s = 0; s < draft.bench.signals.size(); ++s) {
    const auto& signal = draft.bench.signals[s];
    const auto index = static_cast<SignalIndex>(s);
    if (signal.device != device || signal.info.direction != Direction::drive ||
        std::ranges::find(message.fields, signal.field) == message.fields.end())
      continue;
    const bool is_mode = std::ranges::any_of(draft.bench.axes, [&](const auto& a) { return a.mode_signal == index; });
    if (!is_mode && !moves_an_axis(index, draft.bench)) continue;
    draft.problems.add(at, "'" + message.name + "' carries '" + signal.info.name + "', by which an axis moves",
                       "a message that does not move the rig",
                       "what comes back after a fault would be a jump, past every limit");
    return true;
  }
  return false;
}

std::optional<MessageFault> resolve(const MessageKind& kind, const OfMessage& w, Draft& draft) {
  const auto device = find_device(w.device, draft);
  if (!device || !draft.devices[*device].sound) return {};
  MessageFault fault{kind.kind, static_cast<std::uint16_t>(*device), every_message, w.time.value, w.times, w.step.value,
                     w.in_place};
  const auto& messages = draft.devices[*device].messages;
  const bool of_all = w.message.value.empty();
  if (!of_all) {
    const auto message = find_message(w.message, messages, draft);
    if (!message || !kind.fits(w, messages[*message], draft)) return {};
    fault.message = static_cast<std::uint16_t>(*message);
  }
  for (std::size_t m = 0; m < messages.size(); ++m)
    if ((of_all || m == fault.message) &&
        moves_the_rig(messages[m], *device, of_all ? w.device.at : w.message.at, draft))
      return {};
  return fault;
}

}  // namespace

std::vector<KindEntry> message_fault_kinds() {
  std::vector<KindEntry> all;
  for (const auto& k : message_kinds()) all.push_back(kind(k.name, fields_of(k)));
  return all;
}

std::optional<MessageFault> resolve_message_fault(const Chosen& make, Draft& draft) {
  for (const auto& kind : message_kinds())
    if (kind.name == make.kind) return resolve(kind, std::any_cast<const OfMessage&>(make.value), draft);
  return {};
}

}  // namespace trackrod
