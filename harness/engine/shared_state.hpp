#pragma once
// The memory that the loop's process and its keeper share: the ring of records, the loop's heartbeat, and what the
// keeper needs to bring the bench to its safe state when the loop is gone.

#include <atomic>
#include <boost/lockfree/spsc_queue.hpp>
#include <memory>

#include "harness/base/error.hpp"
#include "harness/engine/engine.hpp"
#include "harness/engine/minder.hpp"

namespace trackrod {

inline constexpr std::size_t most_signals = 1024;
inline constexpr std::size_t most_devices = 64;
// 10 s and more of records at 1 kHz and a hundred signals.
inline constexpr std::size_t ring_records = std::size_t{1} << 20;

// What a successor of the loop must know. Written by the loop at the end of each tick, in turn into one of two, so that
// a kill in mid-write leaves the other whole.
struct Testament {
  std::array<double, most_signals> sent{};
  std::array<ProtocolMemory, most_devices> protocols{};
};

struct SharedState {
  std::atomic<std::int64_t> beat_ns{0};  // bench time of the last tick; 0 = none yet
  std::atomic<std::uint32_t> state{0};   // RunState
  std::atomic<std::uint32_t> stop{0};    // 0, or StopCause + 1
  std::atomic<bool> end_repeat{false};
  std::atomic<std::uint64_t> acknowledged{0};
  std::atomic<std::uint32_t> testament{0};  // which of the two is whole
  std::array<Testament, 2> testaments{};
  std::atomic<bool> over{false};  // `outcome` is valid
  Outcome outcome{};
  char grant[320]{};                      // RealtimeGrant::words
  std::array<AccountRoom, 3> accounts{};  // by Occasion
  boost::lockfree::spsc_queue<Record, boost::lockfree::capacity<ring_records>> ring;
};
static_assert(std::atomic<std::int64_t>::is_always_lock_free);

// A mapping of the shared memory; unmapped at the end of its life.
class SharedMapping {
 public:
  // A new, zeroed one in a memory file. May block.
  static Result<SharedMapping> create();
  // The one behind a descriptor that was inherited.
  static Result<SharedMapping> attach(int descriptor);
  SharedMapping(SharedMapping&& other) noexcept;
  SharedMapping& operator=(SharedMapping&&) = delete;
  ~SharedMapping();
  SharedState& operator*() const { return *state_; }
  SharedState* operator->() const { return state_; }
  int descriptor() const { return descriptor_; }

 private:
  SharedMapping(int descriptor, SharedState* state) : descriptor_{descriptor}, state_{state} {}
  int descriptor_;
  SharedState* state_;
};

// The loop's end of the ring, and the keeper's once the loop is dead: one producer at a time.
class SharedRecords final : public RecordSink {
 public:
  explicit SharedRecords(SharedState& shared) : shared_{shared} {}
  bool put(const Record& record) noexcept override { return shared_.ring.push(record); }

 private:
  SharedState& shared_;
};

// The loop's view of its keeper.
class SharedMinder final : public Minder {
 public:
  // `gone` is set by whoever watches the keeper's end of the socket.
  SharedMinder(SharedState& shared, const std::atomic<bool>& gone) : shared_{shared}, gone_{gone} {}
  std::optional<StopCause> stop_asked() const noexcept override;
  bool gone() const noexcept override { return gone_.load(std::memory_order_relaxed); }
  bool repeat_to_end() const noexcept override { return shared_.end_repeat.load(std::memory_order_relaxed); }
  std::uint64_t acknowledged() const noexcept override { return shared_.acknowledged.load(std::memory_order_acquire); }
  void take_accounts(Occasion occasion, std::span<Device* const> devices) noexcept override {
    write_accounts(devices, shared_.accounts[static_cast<std::size_t>(occasion)]);
  }
  void beat(BenchTime now, RunState state, std::span<const double> sent,
            std::span<Device* const> devices) noexcept override;

 private:
  SharedState& shared_;
  const std::atomic<bool>& gone_;
};

}  // namespace trackrod
