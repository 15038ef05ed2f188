#pragma once
// What a device's messages mean, as notes beside the events that tell their codes.

#include <optional>

#include "drivers/device/device_set.hpp"
#include "harness/capture/view.hpp"
#include "harness/capture/writer.hpp"

namespace trackrod {

// The words for an event that tells of a device's message; empty for other events, and where the code says it all.
std::optional<Note> note_of(const Event& event, const DeviceSet& devices);

// Hands records on, and follows each message of a device with its note. For rehearsals: it blocks and allocates.
class NotingSink final : public RecordSink {
 public:
  NotingSink(RecordSink& records, JournalWriter& journal, const DeviceSet& devices)
      : records_{records}, journal_{journal}, devices_{devices} {}
  bool put(const Record& record) noexcept override;

 private:
  RecordSink& records_;
  JournalWriter& journal_;
  const DeviceSet& devices_;
};

}  // namespace trackrod
