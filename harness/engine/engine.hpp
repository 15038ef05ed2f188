#pragma once
// One run on the bench, a tick at a time: take inputs, check interlocks, advance the load model, work out setpoints,
// limit, send, record.

#include <memory>
#include <optional>
#include <vector>

#include "harness/capture/record.hpp"
#include "harness/engine/device.hpp"
#include "harness/engine/fault_injector.hpp"
#include "harness/engine/inputs.hpp"
#include "harness/engine/interlocks.hpp"
#include "harness/engine/limiter.hpp"
#include "harness/engine/live_values.hpp"
#include "harness/engine/minder.hpp"
#include "harness/engine/road_load.hpp"
#include "harness/engine/sequence.hpp"
#include "harness/engine/value_lists.hpp"
#include "harness/plan/timeline.hpp"

namespace trackrod {

// All that a run needs. Everything is owned by the caller and outlives the engine.
struct EngineParts {
  const Bench& bench;
  const Plan& plan;
  const Timeline& timeline;
  std::vector<Device*> devices;  // in the bench's order
  Inputs& inputs;
  TimeSource& time;
  RecordSink& records;
  Minder& minder;
};

// How a run ended.
struct Outcome {
  bool tripped{false};
  TripCause trip{};
  StopCause stop{StopCause::finished};
  bool safe_reached{false};  // every effect of the safe state was seen
  std::uint64_t steps_done{0};
};

class Engine final : private InputSink, private SequenceHands, private FaultNotes, private ListNotes {
 public:
  // Allocates everything it will need. Nothing is sent before the first tick.
  explicit Engine(EngineParts parts);

  // One turn of the loop; `due` on the tick grid, `woke` when it really began. Returns false once the run is over and
  // the bench is in its safe state. Neither allocates, blocks, logs nor throws.
  bool tick(BenchTime due, BenchTime woke) noexcept;
  const Outcome& outcome() const noexcept { return outcome_; }
  RunState state() const noexcept { return state_; }

 private:
  enum class Phase : std::uint8_t {
    listening,
    arming,
    waiting,
    inspecting,
    approaching,
    settling,
    stepping,
    closing,
    safing,
    looking_on,  // after a trip, with the safe state driven
    over
  };

  void put(const Sample& sample) noexcept override;
  void link_lost(std::uint16_t device, int error) noexcept override;
  void write(SignalIndex signal, double value) noexcept override;
  bool settled(SignalIndex signal) const noexcept override;
  void note(std::size_t action, bool effect, bool good) noexcept override;

  void made(std::size_t fault) noexcept override;
  void shown(std::size_t fault, BenchTime when, Duration after) noexcept override;
  void not_shown(std::size_t fault) noexcept override;
  void not_made(std::size_t fault) noexcept override;
  void took_hold(std::size_t fault, BenchTime when, Duration after) noexcept override;
  void removed(std::size_t fault) noexcept override;
  void gone(std::size_t fault, BenchTime when, Duration after) noexcept override;
  void let_go(std::size_t fault, BenchTime when, Duration after) noexcept override;
  void remains(std::size_t fault, double value) noexcept override;

  void list_started(SignalIndex signal) noexcept override;
  void list_not_taken(SignalIndex signal) noexcept override;

  void watch_devices(BenchTime now) noexcept;
  void watch_for_trips(BenchTime now) noexcept;
  void advance(BenchTime due) noexcept;
  void listen(BenchTime due) noexcept;
  bool may_be_silent(std::size_t device) const noexcept;
  bool wait_for_devices(BenchTime due) noexcept;
  bool identify(BenchTime due) noexcept;
  void begin_inspection(Phase phase) noexcept;
  bool inspected(BenchTime due) const noexcept;
  void account(Occasion occasion) noexcept;
  void engage_axes() noexcept;
  void approach(BenchTime due) noexcept;
  void advance_load(BenchTime due) noexcept;
  void step(BenchTime due) noexcept;
  bool begin_step(BenchTime at) noexcept;
  void end_step(BenchTime at, bool complete) noexcept;
  void announce() noexcept;
  void look_for_end_of_repeat() noexcept;
  void stop(StopCause cause) noexcept;
  void trip(TripCause cause, std::uint32_t which, double value) noexcept;
  void leave_faults() noexcept;
  void make_safe(BenchTime due) noexcept;
  void enter(RunState state) noexcept;
  void send(BenchTime due) noexcept;
  void record_sent(BenchTime now) noexcept;
  void event(EventKind kind, std::uint32_t a = 0, std::uint32_t b = 0, double value = 0.0) noexcept;
  void record(const Record& record) noexcept;

  EngineParts parts_;
  LiveValues live_;
  InterlockWatch interlocks_;
  FaultInjector faults_;
  RoadLoad load_;
  ValueLists lists_;
  SequenceRunner arming_, safing_;
  Timeline::Cursor cursor_, ahead_;
  std::vector<double> wanted_, sent_;
  std::vector<SignalIndex> drives_;
  std::vector<char> limited_, failing_, link_gone_;

  Phase phase_{Phase::listening};
  RunState state_{RunState::cold};
  Outcome outcome_;
  Duration stood_still_{};  // from the tick before to this one
  BenchTime now_{}, due_{}, last_due_{BenchTime::min()}, phase_since_{BenchTime::min()};
  std::optional<BenchTime> step_since_, met_since_;
  const TimelineItem* repeat_{nullptr};  // at the top of the program, in which the run is
  BenchTime repeat_since_{};
  bool repeat_ends_{false};  // with the pass that is announced
  std::uint64_t announced_{0}, started_{0}, dropped_records_{0}, dropped_arrivals_{0};
  std::uint32_t tick_number_{0};
};

}  // namespace trackrod
