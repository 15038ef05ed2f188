// What the engine promises: order, limits, trips, stops, and that intents are on disk before they are acted on.

#include "tests/catch.hpp"
// clang-format off: the rig uses the test library
#include "tests/engine/fake_rig.hpp"
// clang-format on

using namespace trackrod;
using namespace trackrod::test;
using namespace std::chrono_literals;

namespace {

constexpr char two_moves[] = R"([
  {"do": "ramp", "name": "out", "signal": "angle_cmd", "to": "30 deg", "rate": "100 deg/s", "for": "100 ms"},
  {"do": "ramp", "name": "back", "signal": "angle_cmd", "to": "0 deg", "rate": "100 deg/s", "for": "100 ms"}])";

std::vector<double> modes_of(const FakeDevice& device) {
  std::vector<double> out;
  for (const auto& [when, mode] : device.modes) out.push_back(mode);
  return out;
}

}  // namespace

TEST_CASE("a run goes cold, armed, running, cold, and its steps follow one another without a gap") {
  FakeRig rig;
  rig.run(two_moves);
  CHECK_FALSE(rig.outcome.tripped);
  CHECK(rig.outcome.stop == StopCause::finished);
  CHECK(rig.outcome.safe_reached);
  CHECK(rig.outcome.steps_done == 2);
  std::vector<std::uint32_t> states;
  for (const auto& e : rig.records.of(EventKind::state_changed)) states.push_back(e.a);
  CHECK(states == std::vector<std::uint32_t>{
                      static_cast<std::uint32_t>(RunState::cold), static_cast<std::uint32_t>(RunState::armed),
                      static_cast<std::uint32_t>(RunState::running), static_cast<std::uint32_t>(RunState::cold)});
  const auto started = rig.records.of(EventKind::step_started), ended = rig.records.of(EventKind::step_ended);
  REQUIRE(started.size() == 2);
  REQUIRE(ended.size() == 2);
  CHECK(ended[0].when == started[1].when);
  CHECK(ended[0].when - started[0].when == 400ms);
  CHECK(ended[1].value == 1.0);
}

TEST_CASE("the drive is engaged where the axis stands, in position mode, and is left in the safe state") {
  FakeRig rig;
  rig.device.angle_script = [&](BenchTime now) { return now < zero + 50ms ? 17.5 : rig.device.commands.back(); };
  rig.run(two_moves);
  CHECK(modes_of(rig.device) == std::vector<double>{0, 1, 3, 0});  // free, position, stop, free
  // The first setpoint that goes with position mode is the measured angle.
  const auto& sent = rig.records.samples[angle_cmd];
  const auto& mode_sent = rig.records.samples[mode];
  for (std::size_t i = 0; i < sent.size(); ++i)
    if (mode_sent[i].value == 1.0) {
      CHECK(sent[i].value == Approx(17.5).margin(0.5));
      break;
    }
}

TEST_CASE("no setpoint moves faster than the bench's greatest slew, whatever happens") {
  FakeRig rig;
  rig.device.angle_script = [](BenchTime) { return 60.0; };
  rig.minder.stop_at = zero + 500ms;
  rig.run(two_moves);
  const auto& sent = rig.records.samples[angle_cmd];
  REQUIRE(sent.size() > 100);
  bool engaged = false;
  for (std::size_t i = 1; i < sent.size(); ++i) {
    engaged = engaged || rig.records.samples[mode][i - 1].value == 1.0;
    if (engaged) CHECK(std::abs(sent[i].value - sent[i - 1].value) <= 1.0 + 1e-5);
  }
}

TEST_CASE("a broken interlock trips the bench within a tick after its grace time") {
  FakeRig rig;
  const auto broken_from = zero + 800ms;
  rig.device.angle_script = [&](BenchTime now) { return now >= broken_from ? 170.0 : 0.0; };
  rig.run(R"([{"do": "hold", "name": "rest", "for": "5 s"}])");
  CHECK(rig.outcome.tripped);
  CHECK(rig.outcome.trip == TripCause::interlock);
  const auto trips = rig.records.of(EventKind::tripped);
  REQUIRE(trips.size() == 1);
  CHECK(trips[0].value == 170.0);
  CHECK(trips[0].when - broken_from == 5ms);
  // The safe state's first write is in the same tick as the trip.
  CHECK(rig.device.modes.at(2) == std::pair{trips[0].when, 3.0});
  CHECK(rig.records.of(EventKind::step_ended).at(0).value == 0.0);
  CHECK(rig.minder.last_state == RunState::tripped);
}

TEST_CASE("after a trip the recording goes on for two seconds, with the safe state driven; a stop ends that") {
  for (const bool stopped : {false, true}) {
    CAPTURE(stopped);
    FakeRig rig;
    rig.device.angle_script = [&](BenchTime now) { return now >= zero + 800ms ? 170.0 : 0.0; };
    if (stopped) rig.minder.stop_at = zero + 1500ms;
    rig.run(R"([{"do": "hold", "name": "rest", "for": "5 s"}])");
    const auto trip = rig.records.of(EventKind::tripped).at(0).when;
    CHECK(rig.records.ticks.back().due - trip == (stopped ? zero + 1500ms - trip : 2s));
    CHECK(modes_of(rig.device).back() == 0.0);
    CHECK(rig.outcome.tripped);
  }
}

TEST_CASE("a device that falls silent trips the bench after its timeout, and the safe state is sent all the same") {
  FakeRig rig;
  rig.device.silent = [](BenchTime now) { return now >= zero + 800ms; };
  rig.run(R"([{"do": "hold", "name": "rest", "for": "5 s"}])");
  CHECK(rig.outcome.tripped);
  CHECK(rig.outcome.trip == TripCause::device_lost);
  CHECK_FALSE(rig.outcome.safe_reached);  // nobody is there to see the effect
  CHECK(modes_of(rig.device) == std::vector<double>{0, 1, 3, 0});
  CHECK(rig.records.of(EventKind::tripped).at(0).when - (zero + 799ms) == 21ms);
}

TEST_CASE("a device lost because the loop stood still is told as such, and one that fell silent is not") {
  for (const bool late : {true, false}) {
    CAPTURE(late);
    FakeRig rig;
    rig.device.silent = [](BenchTime now) { return now >= zero + 800ms; };
    rig.run(R"([{"do": "hold", "name": "rest", "for": "5 s"}])", [&](BenchTime due) {
      if (late && due == zero + 800ms) rig.time.sleep_until(due + 45ms);  // this computer did something else
    });
    CHECK(rig.outcome.trip == TripCause::device_lost);
    const auto stood_still = rig.records.of(EventKind::tripped).at(0).value;
    if (late)
      CHECK(stood_still == Approx(0.046));
    else
      CHECK(stood_still == 0.0);
  }
}

TEST_CASE("a device that is never heard keeps the bench cold") {
  FakeRig rig;
  rig.device.silent = [](BenchTime) { return true; };
  rig.run(two_moves);
  CHECK(rig.outcome.tripped);
  CHECK(rig.outcome.trip == TripCause::device_lost);
  CHECK(rig.records.of(EventKind::step_started).empty());
  for (const auto& [when, mode] : rig.device.modes) CHECK(mode != 1.0);
}

TEST_CASE("arming that does not succeed drives nothing") {
  FakeRig rig;
  rig.device.supply = 9.0;  // arming waits for 12 to 14 V
  rig.run(two_moves);
  CHECK(rig.outcome.tripped);
  CHECK(rig.outcome.trip == TripCause::arming_failed);
  for (const auto& [when, mode] : rig.device.modes) CHECK(mode != 1.0);
}

TEST_CASE("an operator's stop ends in the safe state at once and the step counts as cut short") {
  FakeRig rig;
  rig.minder.stop_at = zero + 700ms;
  rig.run(R"([{"do": "hold", "name": "rest", "for": "5 s"}])");
  CHECK_FALSE(rig.outcome.tripped);
  CHECK(rig.outcome.stop == StopCause::operator_stop);
  CHECK(rig.device.modes.at(2) == std::pair{zero + 700ms, 3.0});
  CHECK(rig.records.of(EventKind::step_ended).at(0).value == 0.0);
  CHECK(rig.outcome.steps_done == 0);
}

TEST_CASE("without its keeper the loop makes the bench safe") {
  FakeRig rig;
  rig.minder.gone_at = zero + 700ms;
  rig.run(R"([{"do": "hold", "name": "rest", "for": "5 s"}])");
  CHECK(rig.outcome.tripped);
  CHECK(rig.outcome.trip == TripCause::keeper_gone);
  CHECK(rig.device.modes.at(2) == std::pair{zero + 700ms, 3.0});
}

TEST_CASE("a step does not start before its intent is on disk; the setpoint is held meanwhile") {
  FakeRig rig;
  const auto late = zero + 3s;
  rig.minder.acknowledge = [&](BenchTime now) { return now < late ? 1U : 2U; };
  rig.run(two_moves);
  CHECK_FALSE(rig.outcome.tripped);
  const auto started = rig.records.of(EventKind::step_started);
  REQUIRE(started.size() == 2);
  CHECK(started[1].when >= late);
  CHECK(started[1].when < late + 2ms);
  for (const auto& s : rig.records.samples[angle_cmd])
    if (s.when > started[0].when + 450ms && s.when < late) CHECK(s.value == 30.0);
}

TEST_CASE("a wait ends its step when the condition has held, and trips when it does not come in time") {
  FakeRig rig;
  const std::string wait =
      R"([{"do": "wait", "name": "until", "signal": "angle", "at_least": "9 deg", "at_most": "11 deg",
                                "hold_for": "50 ms", "within": "2 s"}])";
  SECTION("it comes") {
    rig.device.angle_script = [](BenchTime now) { return now >= zero + 1s ? 10.0 : 0.0; };
    rig.run(wait);
    CHECK_FALSE(rig.outcome.tripped);
    CHECK(rig.records.of(EventKind::step_ended).at(0).when == zero + 1050ms);
  }
  SECTION("it does not") {
    rig.device.angle_script = [](BenchTime) { return 0.0; };
    rig.run(wait);
    CHECK(rig.outcome.tripped);
    CHECK(rig.outcome.trip == TripCause::wait_timed_out);
  }
}

TEST_CASE("a million ticks lie on their grid to the nanosecond, and late ones are skipped, not made up for") {
  FakeRig rig;
  rig.run(R"([{"do": "hold", "name": "rest", "for": "1000 s"}])", [&](BenchTime due) {
    if (due == zero + 500s) rig.time.sleep_until(due + 7500us);
  });
  const auto& ticks = rig.records.ticks;
  REQUIRE(ticks.size() > 1'000'000);
  std::uint64_t bursts = 0, off_grid = 0;
  for (std::size_t i = 1; i < ticks.size(); ++i) {
    const auto apart = ticks[i].number - ticks[i - 1].number;
    if (ticks[i].due - ticks[i - 1].due != apart * rig.bench.tick) ++off_grid;
    if (apart == 0) ++bursts;
  }
  CHECK(off_grid == 0);
  CHECK(bursts == 0);
  CHECK(ticks.back().number + 1 - ticks.size() == 6);  // the ticks at +1 to +6 ms; the one at +7 ran 0.5 ms late
}
