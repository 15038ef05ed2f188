#include "harness/cli/message_notes.hpp"

#include "harness/cli/inspection.hpp"

namespace trackrod {

std::optional<Note> note_of(const Event& event, const DeviceSet& devices) {
  if (event.kind != EventKind::device_message || event.a >= devices.devices.size()) return std::nullopt;
  auto words = devices.devices[event.a]->describe_message(event.b);
  if (words.empty()) return std::nullopt;
  return Note{event.when, event.a, std::move(words)};
}

bool NotingSink::put(const Record& record) noexcept {
  const bool taken = records_.put(record);
  if (record.kind != Record::Kind::event) return taken;
  if (record.event.kind == EventKind::inspected)
    return note_inspected(record.event, bench_, rooms_, journal_).has_value() && taken;
  if (const auto note = note_of(record.event, devices_)) return journal_.note(*note).has_value() && taken;
  return taken;
}

}  // namespace trackrod
