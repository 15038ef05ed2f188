// A bench that watches its own link: figures of the link are signals, and an interlock on one ends the run.

#include "drivers/device/device_inputs.hpp"
#include "drivers/device/device_set.hpp"
#include "drivers/device/known_devices.hpp"
#include "tests/catch.hpp"
// clang-format off: the rig uses the test library
#include "tests/engine/fake_rig.hpp"
// clang-format on

using namespace trackrod;
using namespace trackrod::test;
using namespace std::chrono_literals;

namespace {

constexpr char bench_text[] = R"({
  "bench": "watched", "loop_rate": "1 kHz", "unit": {"name": "U"},
  "devices": {"hand": {
    "link": {"kind": "udp", "local": "127.0.0.1:1", "peer": "127.0.0.1:2"},
    "protocol": {"kind": "frames",
      "receive": {"status": {"length": 5, "counter": {"start": 0, "bits": 8}, "cycle": "1 ms",
        "fields": {"angle": {"start": 8, "bits": 24, "signed": true, "scale": 0.001}}}},
      "send": {"command": {"length": 4, "cycle": "1 ms",
        "fields": {"angle_cmd": {"start": 0, "bits": 24, "signed": true, "scale": 0.001}, "mode": {"start": 24, "bits": 8}}}}},
    "timeout": "200 ms"}},
  "signals": {
    "angle": {"device": "hand", "field": "angle", "unit": "deg", "direction": "read", "range": ["-180 deg", "180 deg"],
              "bench_owned": true},
    "angle_cmd": {"device": "hand", "field": "angle_cmd", "unit": "deg", "direction": "drive",
                  "range": ["-180 deg", "180 deg"], "start_from": "angle"},
    "mode": {"device": "hand", "field": "mode", "unit": "1", "direction": "drive", "range": ["0", "3"], "rest": "0"},
    "hand.silence": {"device": "hand", "field": "link.age", "unit": "s", "field_unit": "ms", "direction": "read",
                     "range": ["0 s", "10 s"], "bench_owned": true},
    "hand.lost": {"device": "hand", "field": "link.lost", "unit": "1", "direction": "read", "range": ["0", "1e9"],
                  "bench_owned": true},
    "hand.cycle": {"device": "hand", "field": "link.cycle_time", "unit": "ms", "direction": "read",
                   "range": ["0 ms", "1000 ms"], "bench_owned": true}
  },
  "axes": {"hand_wheel": {"mode_signal": "mode",
    "modes": {"position": {"code": 1, "setpoint": "angle_cmd"}, "free": {"code": 0}}}},
  "interlocks": {
    "silence": {"signal": "hand.silence", "at_most": "0.03 s", "grace": "1 ms", "protects": "an axis nobody sees"},
    "losses": {"signal": "hand.lost", "at_most": "5", "grace": "1 ms", "protects": "numbers that rest on every frame"}
  },
  "arming": [],
  "safe_state": {"within": "300 ms", "do": [{"set": "mode", "to": "0"},
    {"wait": "angle", "at_least": "-180 deg", "at_most": "180 deg", "within": "200 ms"}]}
})";

constexpr char plan_text[] = R"({"plan": "hold", "control": {"hand_wheel": "position"}, "start": {"angle_cmd": "0 deg"},
  "settle": "10 ms", "steps": [{"do": "hold", "name": "hold", "for": "500 ms"}]})";

// The bench's one device on a wire in memory; `spoken` decides which of its frames, one a millisecond, go out.
struct Watched {
  Outcome outcome;
  Records records;
  std::string tripped_by;
  BenchTime tripped_at{};

  explicit Watched(const std::function<bool(BenchTime)>& spoken, BenchTime unplugged = BenchTime::max()) {
    Problems problems;
    const auto bench = parse_bench({{"bench.json", bench_text}}, known_devices(), problems);
    for (const auto& p : problems.sorted()) WARN(p.sentence());
    REQUIRE(bench);
    const auto plan = parse_plan({{"plan.json", plan_text}}, {}, *bench, known_devices(), problems);
    REQUIRE(plan);
    const auto timeline = Timeline::compile(*plan, *bench, problems);
    REQUIRE(timeline);

    auto wires = make_wires(*bench, 1);
    std::vector<std::unique_ptr<Link>> ends;
    ends.push_back(wires[0].bench_end());
    auto devices = make_devices(*bench, std::move(ends));
    const auto far = wires[0].far_end();
    const auto peer = make_protocol(bench->devices[0], Side::peer);
    peer->set(0, 0.0);  // the angle, first of the received fields

    VirtualTime time{zero};
    ScriptedMinder minder{time};
    Reader reader{devices.link_pointers()};
    DeviceInputs inputs{reader, devices.device_pointers(), DeviceInputs::Reading::here};
    Engine engine{{*bench, *plan, *timeline, devices.device_pointers(), inputs, time, records, minder}};
    run_loop(engine, bench->tick, time, [&](BenchTime due) {
      for (auto frame = peer->due(due); !frame.empty(); frame = peer->due(due))
        if (spoken(due)) far->send(frame, due);
      if (due >= unplugged) wires[0].cut();
    });
    outcome = engine.outcome();
    const auto trips = records.of(EventKind::tripped);
    if (trips.empty()) return;
    tripped_at = trips[0].when;
    const auto cause = static_cast<TripCause>(trips[0].a);
    tripped_by = cause == TripCause::interlock     ? bench->interlocks[trips[0].b].name
                 : cause == TripCause::device_lost ? "device lost"
                                                   : "something else";
  }
};

enum : SignalIndex { silence = 3, lost = 4, cycle = 5 };

}  // namespace

TEST_CASE("the figures of a sound link are recorded, and trip nothing") {
  const Watched run{[](BenchTime) { return true; }};
  CHECK_FALSE(run.outcome.tripped);
  const auto& ages = run.records.samples.at(silence);
  CHECK(ages.size() > 400);  // one a tick
  for (const auto& a : ages) CHECK(a.value <= 0.002);
  const auto& losses = run.records.samples.at(lost);
  CHECK(losses.size() >= 5);  // refreshed
  CHECK(losses.size() < 20);
  CHECK(losses.back().value == 0.0);
  CHECK(run.records.samples.at(cycle).back().value == Approx(1.0).margin(0.01));
}

TEST_CASE("an interlock on the age of the newest frame trips the bench before its device counts as lost") {
  const auto silent_from = zero + 200ms;
  const Watched run{[&](BenchTime t) { return t < silent_from; }};
  REQUIRE(run.outcome.tripped);
  CHECK(run.tripped_by == "silence");
  CHECK(run.tripped_at - silent_from >= 29ms);
  CHECK(run.tripped_at - silent_from <= 32ms);
}

TEST_CASE("an interlock on lost frames trips the bench at the frame that shows the loss") {
  const auto gap = zero + 200ms;
  const Watched few{[&](BenchTime t) { return t < gap || t >= gap + 5ms; }};
  CHECK_FALSE(few.outcome.tripped);
  CHECK(few.records.samples.at(lost).back().value == 5.0);
  const Watched many{[&](BenchTime t) { return t < gap || t >= gap + 6ms; }};
  REQUIRE(many.outcome.tripped);
  CHECK(many.tripped_by == "losses");
  CHECK(many.tripped_at - gap >= 6ms);
  CHECK(many.tripped_at - gap <= 8ms);
}

TEST_CASE("a link that is unplugged trips the bench in the next tick, before any silence is long enough") {
  const auto pulled = zero + 200ms;
  const Watched run{[](BenchTime) { return true; }, pulled};
  REQUIRE(run.outcome.tripped);
  CHECK(run.tripped_by == "device lost");
  CHECK(run.tripped_at - pulled <= 1ms);
  CHECK_FALSE(run.outcome.safe_reached);  // nobody is there to prove it
}
