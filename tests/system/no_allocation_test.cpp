// The loop and the reader allocate nothing once they run: with the demo bench on real links, through a plan, a lost
// device, the trip and the safe state.

#include "drivers/device/device_inputs.hpp"
#include "drivers/device/device_set.hpp"
#include "drivers/device/known_devices.hpp"
#include "harness/engine/loop.hpp"
#include "harness/engine/shared_state.hpp"
#include "harness/plan/timeline.hpp"
#include "harness/score/scoring.hpp"
#include "tests/catch.hpp"
#include "tests/link/allocations.hpp"
#include "tests/system/demo_rig.hpp"

using namespace trackrod;
using namespace trackrod::test;

namespace {

constexpr char ten_seconds[] = R"({
  "plan": "ten", "control": {"hand_wheel": "position"}, "start": {"hand.angle_cmd": "0 deg", "vehicle.speed": "10 km/h"}, "settle": "100 ms",
  "steps": [{"do": "repeat", "times": 3, "steps": [
    {"do": "step", "signal": "hand.angle_cmd", "to": "10 deg", "slew": "400 deg/s", "jerk": "100000 deg/s^3", "for": "500 ms"},
    {"do": "sine", "signal": "hand.angle_cmd", "amplitude": "10 deg", "frequency": "1 Hz", "cycles": 2, "centre": "10 deg", "fade_cycles": 1},
    {"do": "ramp", "signal": "hand.angle_cmd", "to": "0 deg", "rate": "50 deg/s", "for": "200 ms"}]},
    {"do": "road", "steps": [{"do": "parallel", "tracks": [[{"do": "ramp", "signal": "hand.angle_cmd", "to": "5 deg", "rate": "50 deg/s", "for": "200 ms"}],
      [{"do": "grip", "to": 0.5, "over": "50 ms", "for": "50 ms"}, {"do": "pulse", "force": "500 N", "length": "0.2 m", "for": "50 ms"}]]}]},
    {"do": "hold", "for": "10 s"}]
})";

Catalogue everything() {
  auto all = known_devices();
  all.scores = score_entries();
  return all;
}

struct Counted {
  std::uint64_t allocations{0};
  Outcome outcome;
};

// The demo bench with so long a time to silence that a busy machine cannot be taken for a lost device.
struct PatientRig : DemoRig {
  PatientRig() { write("bench.json", replaced(slurp(bench()), "\"timeout\": \"250 ms\"", "\"timeout\": \"2 s\"")); }
};

// `at_tick` is called in the loop's thread with the tick's number. Counting begins at tick 10.
Counted run_counted(const DemoRig& rig, const std::function<void(int)>& at_tick) {
  Problems problems;
  const auto catalogue = everything();
  const auto sources = load_bench_sources(rig.bench());
  REQUIRE(sources);
  const auto bench = parse_bench(*sources, catalogue, problems);
  REQUIRE(bench);
  const auto plan = parse_plan({{"ten.json", ten_seconds}}, {}, *bench, catalogue, problems);
  for (const auto& p : problems.sorted()) WARN(p.sentence());
  REQUIRE(plan);
  const auto timeline = Timeline::compile(*plan, *bench, problems);
  REQUIRE(timeline);
  auto set = open_devices(*bench);
  REQUIRE(set);

  auto shared = SharedMapping::create();
  REQUIRE(shared);
  const std::atomic<bool> keeper_gone{false};
  (*shared)->acknowledged = UINT64_MAX;
  SteadyTime time;
  SharedRecords records{**shared};
  SharedMinder minder{**shared, keeper_gone};
  Reader reader{set->link_pointers()};
  DeviceInputs inputs{reader, set->device_pointers(), DeviceInputs::Reading::by_thread};
  Engine engine{{*bench, *plan, *timeline, set->device_pointers(), inputs, time, records, minder}};
  REQUIRE(reader.start(0));

  std::uint64_t before = 0;
  int tick = 0;
  run_loop(engine, bench->tick, time, [&](BenchTime) {
    if (tick == 10) before = allocations::so_far();
    at_tick(tick++);
  });
  const auto after = allocations::so_far();
  reader.stop();
  return {after - before, engine.outcome()};
}

}  // namespace

TEST_CASE("neither loop nor reader allocates, in motion, at a loss, at the trip and in the safe state") {
  PatientRig rig;
  rig.simulate();
  const auto counted = run_counted(rig, [&](int tick) {
    if (tick == 9000) rig.simulator().signal(SIGSTOP);
  });
  rig.simulator().signal(SIGCONT);
  CHECK(counted.outcome.tripped);
  CHECK(counted.outcome.trip == TripCause::device_lost);
  CHECK(counted.outcome.steps_done > 3);
  CHECK(counted.allocations == 0);
}

TEST_CASE("the count would see a single allocation in the loop") {
  PatientRig rig;
  rig.simulate();
  static std::unique_ptr<int> planted;  // static, so that the compiler keeps it
  const auto counted = run_counted(rig, [&](int tick) {
    if (tick == 500) planted = std::make_unique<int>(tick);
    if (tick == 1000) rig.simulator().signal(SIGSTOP);
  });
  rig.simulator().signal(SIGCONT);
  CHECK(counted.allocations == 1);
}
