#pragma once
// What a device's messages mean, as notes beside the events that tell their codes.

#include <optional>

#include "drivers/device/device_set.hpp"
#include "harness/capture/view.hpp"
#include "harness/capture/writer.hpp"
#include "harness/engine/account.hpp"

namespace trackrod {

// The words for an event that tells of a device's message; empty for other events, and where the code says it all.
std::optional<Note> note_of(const Event& event, const DeviceSet& devices);

// Hands records on, and follows each message of a device, and each event of what the devices said of themselves, with
// its notes. For rehearsals: it blocks and allocates.
class NotingSink final : public RecordSink {
 public:
  NotingSink(RecordSink& records, JournalWriter& journal, const DeviceSet& devices, const Bench& bench,
             std::span<const AccountRoom> rooms)
      : records_{records}, journal_{journal}, devices_{devices}, bench_{bench}, rooms_{rooms} {}
  bool put(const Record& record) noexcept override;

 private:
  RecordSink& records_;
  JournalWriter& journal_;
  const DeviceSet& devices_;
  const Bench& bench_;
  std::span<const AccountRoom> rooms_;
};

}  // namespace trackrod
