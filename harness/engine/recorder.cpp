#include "harness/engine/recorder.hpp"

#include <algorithm>

namespace trackrod {
namespace {

using namespace std::chrono_literals;

constexpr auto look_period = 5ms;
constexpr Duration flush_period = 50ms;
constexpr Duration sync_period = 1s;

}  // namespace

Recorder::Recorder(JournalWriter& journal, SharedState& shared, std::atomic<std::uint32_t>& stop,
                   std::function<void(const Event&)> on_event, std::function<bool()> disk_is_low)
    : journal_{journal},
      shared_{shared},
      stop_{stop},
      on_event_{std::move(on_event)},
      disk_is_low_{std::move(disk_is_low)},
      thread_{[this] { run(); }} {}

Recorder::~Recorder() {
  if (thread_.joinable()) (void)finish();
}

Result<void> Recorder::finish() {
  ending_.store(true);
  if (thread_.joinable()) thread_.join();
  return outcome_;
}

void Recorder::run() {
  const SteadyTime time;
  auto flushed = time.now(), synced = flushed;
  for (bool last = false; !last;) {
    last = ending_.load();  // read before the ring, so that nothing is left behind
    shared_.ring.consume_all([this](const Record& record) { take(record); });
    const auto now = time.now();
    if (now - flushed >= flush_period || last) {
      keep(journal_.flush());
      flushed = now;
    }
    if (now - synced >= sync_period || last) {
      keep(journal_.sync());
      synced = now;
      if (disk_is_low_()) ask_to_stop(StopCause::disk_low);
    }
    if (!last) std::this_thread::sleep_for(look_period);
  }
}

void Recorder::take(const Record& record) {
  const bool is_event = record.kind == Record::Kind::event;
  if (is_event && record.event.kind == EventKind::records_dropped)
    keep(journal_.gap({last_, record.event.when, record.event.a, "the ring between loop and keeper was full"}));
  if (is_event) last_ = std::max(last_, record.event.when);
  if (record.kind == Record::Kind::tick) last_ = record.tick.due;
  if (is_event && record.event.kind == EventKind::step_announced) {
    const auto written = journal_.event_on_disk(record.event);
    keep(written);
    if (written) shared_.acknowledged.fetch_add(1, std::memory_order_release);
  } else {
    keep(journal_.put(record));
  }
  if (is_event && on_event_) on_event_(record.event);
}

void Recorder::keep(const Result<void>& result) {
  if (result || !outcome_) return;
  outcome_ = result;
  ask_to_stop(StopCause::disk);
}

// The first cause counts.
void Recorder::ask_to_stop(StopCause cause) {
  std::uint32_t none = 0;
  stop_.compare_exchange_strong(none, static_cast<std::uint32_t>(cause) + 1);
}

}  // namespace trackrod
