// `trackrod rehearse`: the same engine, devices and protocols, in virtual time, against the simulated bench behind
// modelled wires, all in one thread.

#include <spdlog/fmt/fmt.h>

#include "drivers/device/device_inputs.hpp"
#include "drivers/device/device_set.hpp"
#include "fixtures/simulator/simulated_bench.hpp"
#include "harness/capture/writer.hpp"
#include "harness/cli/commands.hpp"
#include "harness/cli/finish.hpp"
#include "harness/cli/follower.hpp"
#include "harness/cli/host_facts.hpp"
#include "harness/cli/inspection.hpp"
#include "harness/cli/message_notes.hpp"
#include "harness/cli/truth_file.hpp"
#include "harness/cli/version.hpp"
#include "harness/engine/loop.hpp"

namespace trackrod {
namespace {

// Virtual time starts away from zero, which means "never" in places.
constexpr BenchTime virtual_start{std::chrono::seconds{1000}};
// The simulated bench answers this often between two ticks of the loop.
constexpr int answers_a_tick = 2;

// The simulated bench and our devices, with wires between them.
struct VirtualRig {
  DeviceSet devices;
  std::unique_ptr<SimulatedBench> simulated;
};

Result<VirtualRig> make_rig(const Bench& bench, const Truth& truth, std::uint64_t seed) {
  std::vector<std::unique_ptr<Link>> near, far;
  for (const auto& wire : make_wires(bench, seed)) {
    near.push_back(wire.bench_end());
    far.push_back(wire.far_end());
  }
  auto simulated = SimulatedBench::make(bench, truth, seed, std::move(far), virtual_start);
  if (!simulated) return tl::unexpected<Error>{simulated.error()};
  return VirtualRig{make_devices(bench, std::move(near)), std::move(*simulated)};
}

// Where the real time of a rehearsal went.
struct Split {
  Duration bench{}, capture{};  // the simulated bench with its wires; the journal. The rest is the engine's.
};

// Adds the time that it lives.
class Stopwatch {
 public:
  explicit Stopwatch(Duration& sum) : sum_{sum}, start_{SteadyTime{}.now()} {}
  Stopwatch(const Stopwatch&) = delete;
  Stopwatch& operator=(const Stopwatch&) = delete;
  ~Stopwatch() { sum_ += SteadyTime{}.now() - start_; }

 private:
  Duration& sum_;
  BenchTime start_;
};

// Hands records on many at a time, so that the time they take can be measured without taking much itself.
class TimedRecords final : public RecordSink {
 public:
  TimedRecords(RecordSink& next, Duration& took) : next_{next}, took_{took} { waiting_.reserve(room); }
  bool put(const Record& record) noexcept override {
    waiting_.push_back(record);
    if (waiting_.size() == room) hand_on();
    return good_;
  }
  void hand_on() noexcept {
    const Stopwatch watch{took_};
    for (const auto& record : waiting_) good_ = next_.put(record) && good_;
    waiting_.clear();
  }

 private:
  static constexpr std::size_t room = 1024;
  RecordSink& next_;
  Duration& took_;
  std::vector<Record> waiting_;
  bool good_{true};
};

// Nobody minds a rehearsal; what the devices say of themselves is kept.
class AccountKeeper final : public NoMinder {
 public:
  AccountKeeper(std::span<AccountRoom> rooms, const bool& end_repeat) : rooms_{rooms}, end_repeat_{end_repeat} {}
  bool repeat_to_end() const noexcept override { return end_repeat_; }
  void take_accounts(Occasion occasion, std::span<Device* const> devices) noexcept override {
    write_accounts(devices, rooms_[static_cast<std::size_t>(occasion)]);
  }

 private:
  std::span<AccountRoom> rooms_;
  const bool& end_repeat_;
};

// Follows a rehearsal in its own thread, each time that a segment of the journal was closed.
class InlineFollower {
 public:
  static Result<InlineFollower> create(const Loaded& loaded, const std::string& folder, const JournalWriter& journal) {
    InlineFollower out{journal};
    if (!is_followed(loaded)) return out;
    auto follower = Follower::create(loaded, folder);
    if (!follower) return tl::unexpected<Error>{follower.error()};
    out.follower_.emplace(std::move(*follower));
    return out;
  }
  void look() {
    if (!follower_ || journal_.segments() == segments_) return;
    segments_ = journal_.segments();
    take(false);
  }
  void finish() {
    if (follower_) take(true);
  }
  const bool& limit_was_passed() const { return passed_; }
  const std::string& limit() const { return limit_; }
  const Result<void>& outcome() const { return outcome_; }

 private:
  explicit InlineFollower(const JournalWriter& journal) : journal_{journal} {}
  void take(bool ended) {
    auto limit = follower_->take(ended);
    if (!limit) outcome_ = tl::unexpected<Error>{limit.error()};
    if (!limit || !*limit) return;
    limit_ = **limit;
    passed_ = true;
  }
  const JournalWriter& journal_;
  std::optional<Follower> follower_;
  unsigned segments_{1};
  std::string limit_;
  bool passed_{false};
  Result<void> outcome_;
};

Outcome rehearse(const Loaded& loaded, VirtualRig& rig, VirtualTime& time, RecordSink& journal,
                 std::span<AccountRoom> rooms, InlineFollower& follower, Split& split) {
  TimedRecords records{journal, split.capture};
  AccountKeeper nobody{rooms, follower.limit_was_passed()};
  Reader reader{rig.devices.link_pointers()};
  DeviceInputs inputs{reader, rig.devices.device_pointers(), DeviceInputs::Reading::here};
  Engine engine{
      {*loaded.bench, *loaded.plan, *loaded.timeline, rig.devices.device_pointers(), inputs, time, records, nobody}};
  const auto tick = loaded.bench->tick;
  run_loop(engine, tick, time, [&](BenchTime due) {
    {
      const Stopwatch watch{split.capture};
      follower.look();
    }
    const Stopwatch watch{split.bench};
    for (int part = answers_a_tick - 1; part >= 0; --part) rig.simulated->step(due - part * tick / answers_a_tick);
  });
  records.hand_on();
  nobody.take_accounts(Occasion::end, rig.devices.device_pointers());
  return engine.outcome();
}

std::string shown_speed(double rehearsed_s, Duration real, const Split& split) {
  const auto share = [&](Duration part) { return fmt::format("{:.0f} %", 100.0 * seconds(part) / seconds(real)); };
  return fmt::format("rehearsed {} in {}, {:.0f} times as fast: simulated bench {}, engine {}, capture {}",
                     shown_time(rehearsed_s), shown_time(seconds(real)), rehearsed_s / seconds(real),
                     share(split.bench), share(real - split.bench - split.capture), share(split.capture));
}

}  // namespace

int rehearse_command(const RehearseOptions& options, Console& console) {
  Loaded loaded;
  if (const auto status = load_or_complain(options.files.bench, options.files.plan, options.files.set, console, loaded))
    return *status;
  auto truth = load_truth(options.truth, options.files.bench, options.truth_set, console);
  if (!truth) return bad_input;

  auto rig = make_rig(*loaded.bench, *truth, options.seed);
  if (!rig) return console.complain(rig.error()), status_of(rig.error());

  RunRecord record;
  record.rehearsal = true;
  record.program = program_version;
  record.host = program_and_machine();
  record.ending = "rehearsing, or ended without a word";
  record.notes.push_back("rehearsal in virtual time against the simulated bench, seed " + std::to_string(options.seed));
  for (const auto& s : options.truth_set) record.notes.push_back("truth changed by the command line: " + s);
  auto folder = RunFolder::create(options.runs, loaded, record);
  if (!folder) return console.complain(folder.error()), harness_failed;
  VirtualTime time{virtual_start};
  auto journal = JournalWriter::create(folder->file("journal"), stream_header(loaded, record, clock_pair(time)),
                                       segment_limits(loaded));
  if (!journal) return console.complain(journal.error()), harness_failed;

  const SteadyTime real;
  const auto real_start = real.now();
  JournalSink sink{*journal};
  std::vector<AccountRoom> rooms(3);  // by Occasion
  NotingSink noting{sink, *journal, rig->devices, *loaded.bench, rooms};
  Split split;
  auto follower = InlineFollower::create(loaded, folder->path(), *journal);
  if (!follower) return console.complain(follower.error()), harness_failed;
  const auto outcome = rehearse(loaded, *rig, time, noting, rooms, *follower, split);
  const auto real_time = real.now() - real_start;
  if (!sink.outcome()) return console.complain(sink.outcome().error()), harness_failed;
  note_ending(record, outcome, time.now() - virtual_start);
  note_inspection(record, loaded, outcome, rooms);
  if (auto ended = journal->end(time.now(), record.ending); !ended)
    return console.complain(ended.error()), harness_failed;
  follower->finish();
  if (!follower->outcome()) return console.complain(follower->outcome().error()), harness_failed;
  if (!follower->limit().empty()) record.notes.push_back(follower->limit());
  if (auto written = folder->write("run.json", to_json(record)); !written)
    return console.complain(written.error()), harness_failed;
  console.say(shown_speed(record.duration_s, real_time, split));
  return finish_run(*folder, record, loaded, console).status;
}

}  // namespace trackrod
