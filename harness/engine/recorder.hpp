#pragma once
// Brings the records of a run from the shared ring to the journal, in the keeper, on a thread of its own: the disk may
// take its time without disturbing the loop or the watch over it.

#include <atomic>
#include <functional>
#include <thread>

#include "harness/capture/writer.hpp"
#include "harness/engine/shared_state.hpp"

namespace trackrod {

class Recorder {
 public:
  // `on_event` is called on the recorder's thread with each event, after it was written; `disk_is_low` each second.
  // `stop` is set to StopCause::disk when the journal cannot be written any more, to disk_low when the disk is low.
  Recorder(JournalWriter& journal, SharedState& shared, std::atomic<std::uint32_t>& stop,
           std::function<void(const Event&)> on_event, std::function<bool()> disk_is_low);
  ~Recorder();
  Recorder(const Recorder&) = delete;
  Recorder& operator=(const Recorder&) = delete;

  // Takes what is left in the ring, then ends. The producer must have ended. Returns the first error of the journal.
  Result<void> finish();

 private:
  void run();
  void take(const Record& record);
  void keep(const Result<void>& result);
  void ask_to_stop(StopCause cause);
  JournalWriter& journal_;
  SharedState& shared_;
  std::atomic<std::uint32_t>& stop_;
  std::function<void(const Event&)> on_event_;
  std::function<bool()> disk_is_low_;
  BenchTime last_{};  // of the last tick or event: what is missing is later
  std::atomic<bool> ending_{false};
  Result<void> outcome_;
  std::thread thread_;
};

}  // namespace trackrod
