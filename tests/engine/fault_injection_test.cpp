// What the engine promises of faults: made when they are due, seen or told that they were not, and gone in the end.

#include <set>

#include "tests/catch.hpp"
// clang-format off: the rig uses the test library
#include "tests/engine/fake_rig.hpp"
// clang-format on

using namespace trackrod;
using namespace trackrod::test;
using namespace std::chrono_literals;

namespace {

// A bench with one more driven signal, the speed of a vehicle that nothing moves by, and one fault of it.
enum : SignalIndex { speed = 4, other_speed = 5 };

struct FaultyRig : FakeRig {
  explicit FaultyRig(SignalFault::Kind kind, double value = 0.0) {
    bench.signals.push_back(signal("speed", "km/h", Direction::drive, 0, 200));
    bench.signals.push_back(signal("other_speed", "km/h", Direction::drive, 0, 200));
    bench.signals[speed].info.max_slew = bench.signals[other_speed].info.max_slew = 100.0;
    FaultSpec fault;
    fault.name = "wrong_speed";
    bench.faults = {fault};
    way().kind = kind;
    way().signal = speed;
    way().other = other_speed;
    way().value = value;
    way().jumps = true;
  }
  SignalFault& way() { return std::get<SignalFault>(fault().way); }
  FaultSpec& fault() { return bench.faults[0]; }

  // The fault for 300 ms from 400 ms on, while the speed rises from 0 to 100 km/h in the second that the step takes.
  void run_rising(const std::string& more = "") {
    run(R"([{"do": "parallel", "name": "rise", "tracks": [
      [{"do": "ramp", "signal": "speed", "to": "100 km/h", "rate": "100 km/h/s"}],
      [{"do": "hold", "for": "400 ms"}, {"do": "inject", "fault": "wrong_speed", "for": "300 ms")" +
        more + "}]]}]");
    began = records.of(EventKind::step_started).front().when;
  }
  double sent_at(Duration after, SignalIndex which = speed) {
    for (const auto& s : records.samples[which])
      if (s.when >= began + after) return s.value;
    return NAN;
  }
  BenchTime began{};
};

using Instants = std::vector<std::chrono::microseconds>;
Instants instants(const std::vector<Event>& events, BenchTime from) {
  Instants out;
  for (const auto& e : events) out.push_back(std::chrono::duration_cast<std::chrono::microseconds>(e.when - from));
  return out;
}

// What a sensor behind a relay shows: 0, and 90 from some time after the fault is made until some time after it is
// removed.
std::function<double(BenchTime)> behind_relay(const FaultyRig& rig, Duration late, Duration late_back) {
  return [&rig, late, late_back](BenchTime now) {
    const auto made = rig.records.of(EventKind::fault_made), removed = rig.records.of(EventKind::fault_removed);
    const bool there = !made.empty() && now >= made.back().when + late;
    return there && (removed.empty() || now < removed.back().when + late_back) ? 90.0 : 0.0;
  };
}

}  // namespace

TEST_CASE("a value is made wrong for as long as the plan says, and is right before and after") {
  const auto [kind, value, meant] = GENERATE(table<SignalFault::Kind, double, double>({
      {SignalFault::Kind::set, 7.0, 7.0},
      {SignalFault::Kind::stuck, 0.0, 40.0},
      {SignalFault::Kind::offset, 12.0, 62.0},
      {SignalFault::Kind::gain, 0.5, 25.0},
      {SignalFault::Kind::drift, 20.0, 52.0},  // 20 km/h a second, for 0.1 s
      {SignalFault::Kind::swapped, 0.0, 0.0},
  }));
  CAPTURE(value, meant);
  FaultyRig rig{kind, value};
  rig.run_rising();
  CHECK_FALSE(rig.outcome.tripped);
  CHECK(rig.sent_at(399ms) == Approx(39.9).margin(0.2));
  CHECK(rig.sent_at(500ms) == Approx(meant).margin(0.2));
  CHECK(rig.sent_at(701ms) == Approx(70.1).margin(0.2));
  CHECK(instants(rig.records.of(EventKind::fault_made), rig.began) == Instants{400ms});
  CHECK(instants(rig.records.of(EventKind::fault_removed), rig.began) == Instants{700ms});
}

TEST_CASE("signals that are swapped stand for each other") {
  FaultyRig rig{SignalFault::Kind::swapped};
  rig.run_rising();
  CHECK(rig.sent_at(500ms, other_speed) == Approx(50.0).margin(0.2));
  CHECK(rig.sent_at(750ms, other_speed) == Approx(0.0).margin(1e-9));
}

TEST_CASE("a signal that comes late is what it was, to the tick") {
  FaultyRig rig{SignalFault::Kind::late};
  rig.way().delay = 150ms;
  rig.run_rising();
  CHECK(rig.sent_at(500ms) == Approx(35.0).margin(0.2));
}

TEST_CASE("a signal that runs away goes at its rate from where it was, and no further than its end") {
  FaultyRig rig{SignalFault::Kind::ramp, 50.0};
  rig.way().rate = 100.0;
  rig.run_rising();
  CHECK(rig.sent_at(450ms) == Approx(45.0).margin(0.2));
  CHECK(rig.sent_at(600ms) == Approx(50.0).margin(1e-9));
}

TEST_CASE("noise has the standard deviation that was asked for, and the same seed makes it again") {
  FaultyRig rig{SignalFault::Kind::noise, 2.0}, again{SignalFault::Kind::noise, 2.0};
  rig.run_rising();
  again.run_rising();
  double square = 0.0;
  int n = 0;
  for (auto t = 401ms; t < 699ms; t += 1ms, ++n) {
    square += std::pow(rig.sent_at(t) - 0.1 * static_cast<double>(t.count()), 2);
    CHECK(rig.sent_at(t) == again.sent_at(t));
  }
  // 95 % of the standard deviations of 298 draws lie within 8 % (chi-square); one seed, so 16 % is plenty.
  CHECK(std::sqrt(square / n) == Approx(2.0).epsilon(0.16));
}

TEST_CASE("a fault never takes a signal out of its range, nor faster than it may go unless the bench lets it jump") {
  FaultyRig rig{SignalFault::Kind::offset, 180.0};
  rig.run_rising();
  CHECK(rig.sent_at(500ms) == 200.0);
  FaultyRig slow{SignalFault::Kind::offset, 50.0};
  slow.way().jumps = false;
  slow.run_rising();
  const auto& sent = slow.records.samples[speed];
  for (std::size_t i = 1; i < sent.size(); ++i) CHECK(std::abs(sent[i].value - sent[i - 1].value) <= 0.1 + 1e-5);
}

TEST_CASE("an intermittent fault is there once in each period, for its share of it, at places drawn from its seed") {
  FaultyRig rig{SignalFault::Kind::set, 7.0};
  rig.fault().comes_and_goes = Intermittence{50ms, 0.4, 11};
  rig.run_rising();
  std::vector<int> starts;
  for (int period = 0; period < 6; ++period) {
    int there = 0, start = -1;
    for (int k = 0; k < 50; ++k)
      if (rig.sent_at(400ms + 50ms * period + 1ms * k) == 7.0) {
        if (start < 0) start = k;
        ++there;
      }
    CHECK(there >= 19);
    CHECK(there <= 21);
    starts.push_back(start);
  }
  CHECK(std::set<int>(starts.begin(), starts.end()).size() > 2);
}

TEST_CASE("a trigger makes the fault when its condition turns true, not because it is true already") {
  FaultyRig rig{SignalFault::Kind::set, 7.0};
  rig.device.angle_script = [&](BenchTime now) {
    // True until 500 ms after the step began, false, and true again from 620 ms on.
    if (rig.records.of(EventKind::step_started).empty()) return 10.0;
    const auto t = now - rig.records.of(EventKind::step_started).front().when;
    return t < 500ms || t >= 620ms ? 10.0 : -10.0;
  };
  rig.run_rising(R"(, "when": {"signal": "angle", "at_least": "0 deg", "within": "400 ms"})");
  CHECK(instants(rig.records.of(EventKind::fault_made), rig.began) == Instants{620ms});
  CHECK(instants(rig.records.of(EventKind::fault_removed), rig.began) == Instants{920ms});
}

TEST_CASE("a trigger that does not come leaves the fault unmade, and says so") {
  FaultyRig rig{SignalFault::Kind::set, 7.0};
  rig.run_rising(R"(, "when": {"signal": "angle", "at_least": "90 deg", "within": "200 ms"})");
  CHECK(rig.records.of(EventKind::fault_made).empty());
  CHECK(instants(rig.records.of(EventKind::fault_not_made), rig.began) == Instants{600ms});
  CHECK_FALSE(rig.outcome.tripped);
}

TEST_CASE("the bench sees the fault that it made, in the sample that shows it") {
  FaultyRig rig{SignalFault::Kind::set, 7.0};
  rig.fault().shows = Condition{angle, 80.0, 100.0};
  rig.fault().shows_within = 50ms;
  rig.device.angle_script = behind_relay(rig, 8ms, 8ms);
  rig.run_rising();
  const auto shown = rig.records.of(EventKind::fault_shown);
  CHECK(instants(shown, rig.began) == Instants{408ms});
  CHECK(shown.front().value == Approx(0.008));
  CHECK(instants(rig.records.of(EventKind::fault_gone), rig.began) == Instants{708ms});
  CHECK_FALSE(rig.outcome.tripped);
}

TEST_CASE("a fault that does not show in time was perhaps never there") {
  FaultyRig rig{SignalFault::Kind::set, 7.0};
  rig.fault().shows = Condition{voltage, 0.0, 5.0};
  rig.fault().shows_within = 50ms;
  rig.run_rising();
  CHECK(instants(rig.records.of(EventKind::fault_not_shown), rig.began) == Instants{451ms});
  CHECK(rig.records.of(EventKind::fault_shown).empty());
  CHECK_FALSE(rig.outcome.tripped);  // it was never seen, so nothing remains
}

TEST_CASE("a fault that is still seen too long after it was removed trips the bench") {
  FaultyRig rig{SignalFault::Kind::set, 7.0};
  rig.fault().shows = Condition{angle, 80.0, 100.0};
  rig.fault().shows_within = 50ms;
  rig.device.angle_script = behind_relay(rig, 8ms, 10s);
  rig.run_rising();
  REQUIRE(rig.outcome.tripped);
  CHECK(rig.outcome.trip == TripCause::fault_remains);
  CHECK(instants(rig.records.of(EventKind::tripped), rig.began) == Instants{751ms});
}

TEST_CASE("a stop leaves a fault as it is until the safe state takes it back, behind the power") {
  FaultyRig rig{SignalFault::Kind::set, 7.0};
  rig.bench.safe_state.actions.push_back(wait(angle, -200, 200, 100ms));
  rig.bench.safe_state.actions.push_back(set(speed, 0.0));
  rig.minder.stop_at = zero + 2s;
  rig.run(R"([{"do": "inject", "name": "long", "fault": "wrong_speed", "for": "60 s"}])");
  CHECK(rig.outcome.stop == StopCause::operator_stop);
  const auto writes = rig.records.of(EventKind::safe_write);
  REQUIRE_FALSE(writes.empty());
  for (const auto& s : rig.records.samples[speed])
    if (s.when >= zero + 1s && s.when < writes.back().when) CHECK(s.value == 7.0);
  CHECK(rig.records.samples[speed].back().value == 0.0);
}
