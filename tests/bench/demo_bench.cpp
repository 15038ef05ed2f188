// The demo bench as a bench: what a technician wrote there comes out resolved.

#include <cmath>

#include "tests/bench/demo.hpp"
#include "tests/catch.hpp"

using namespace trackrod;
using namespace trackrod::test;
using namespace std::chrono_literals;

namespace {
const Bench& demo() {
  static const auto parsed = parse(demo_text());
  INFO(parsed.sentences());
  REQUIRE(parsed.bench);
  return *parsed.bench;
}
const SignalSpec& signal(const std::string& name) {
  const auto index = demo().find(name);
  INFO(name);
  REQUIRE(index);
  return demo().signals[*index];
}
}  // namespace

TEST_CASE("the demo bench has no problem") {
  CHECK(demo().name == "demo");
  CHECK(demo().file == "bench.json");
  CHECK(demo().unit.name == "LV3-017");
  CHECK(demo().tick == 1ms);
  CHECK(demo().devices.size() == 4);
  CHECK(demo().signal_names().size() == demo().signals.size());
  CHECK(demo().signal_infos().front().name == "hand.angle");
}

TEST_CASE("the demo bench has every signal under the name that the simulated bench knows") {
  for (const auto* name :
       {"hand.angle",        "hand.torque",       "hand.speed",         "hand.state",    "hand.angle_cmd",
        "hand.torque_cmd",   "hand.mode",         "road.angle",         "road.force",    "road.load_cmd",
        "unit.hand_angle_a", "unit.hand_angle_b", "unit.road_angle",    "unit.warning",  "unit.state",
        "vehicle.speed",     "unit.ignition",     "supply.voltage_cmd", "supply.output", "supply.voltage",
        "supply.current"}) {
    CAPTURE(name);
    CHECK(demo().find(name));
  }
  CHECK_FALSE(demo().find("hand.angel"));
}

TEST_CASE("a read signal takes its resolution, clock and sensor data along") {
  const auto& s = signal("hand.angle");
  CHECK(s.info.direction == Direction::read);
  CHECK(s.info.device == "hand");
  CHECK(demo().devices[s.device].name == "hand");
  CHECK(s.info.resolution == Approx(0.001));
  CHECK(s.info.delay == 300us);
  CHECK(s.info.delay_uncertainty == 50us);
  CHECK(s.info.clock == "host");
  CHECK(s.info.clock_asymmetry == 50us);
  CHECK(s.info.bench_owned);
  CHECK(s.info.calibration.standard_uncertainty == Approx(0.01));
  CHECK(s.info.calibration.due == "2027-11-02");
  CHECK_FALSE(signal("unit.hand_angle_a").info.bench_owned);
}

TEST_CASE("quantities are in the signal's unit") {
  CHECK(signal("road.force").info.range_high == Approx(10000.0));                          // "10 kN"
  CHECK(signal("vehicle.speed").info.max_slew == Approx(36.0));                            // 10 m/s^2 = 36 km/h per s
  CHECK(signal("supply.voltage").info.calibration.standard_uncertainty == Approx(0.010));  // "10 mV"
  CHECK(signal("hand.angle_cmd").info.max_slew == Approx(1000.0));
}

TEST_CASE("a driven signal starts from rest or from what a sensor shows") {
  CHECK(signal("hand.angle_cmd").start_from == demo().find("hand.angle"));
  CHECK(signal("road.load_cmd").start_from == no_signal);
  CHECK(signal("road.load_cmd").rest == 0.0);
}

TEST_CASE("the axis knows its modes, with a setpoint in all but free") {
  REQUIRE(demo().axes.size() == 1);
  const auto& axis = demo().axes.front();
  CHECK(axis.name == "hand_wheel");
  CHECK(axis.mode_signal == demo().find("hand.mode"));
  REQUIRE(axis.modes.size() == 3);
  for (const auto& m : axis.modes) {
    CAPTURE(control_mode_name(m.mode));
    CHECK((m.setpoint == no_signal) == (m.mode == ControlMode::free));
  }
}

TEST_CASE("a one-sided limit is open on the other side, and no condition is met by a value that is none") {
  for (const auto& i : demo().interlocks) {
    CAPTURE(i.name);
    CHECK_FALSE(i.condition.met_by(std::nan("")));
    if (i.name == "supply_voltage") {
      CHECK(std::isinf(i.condition.low));
      CHECK(i.condition.met_by(-1e9));
      CHECK_FALSE(i.condition.met_by(16.6));
    }
  }
}

TEST_CASE("the safe state stops the drive before it takes the power, and fits its time") {
  const auto& safe = demo().safe_state;
  Duration waits{};
  std::size_t stop = 0, power = 0;
  for (std::size_t i = 0; i < safe.actions.size(); ++i) {
    const auto& a = safe.actions[i];
    if (a.kind == Action::Kind::wait) waits += a.at_most;
    if (a.kind == Action::Kind::set && a.signal == demo().find("hand.mode")) stop = i;
    if (a.kind == Action::Kind::set && a.signal == demo().find("supply.output")) power = i;
  }
  CHECK(stop < power);
  CHECK(waits <= safe.within);
}
