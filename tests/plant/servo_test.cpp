// The unit's road side against closed forms.

#include <cmath>
#include <vector>

#include "tests/catch.hpp"
#include "tests/plant/rig.hpp"

using namespace trackrod;
using namespace trackrod::rig;

namespace {

struct Response {
  double overshoot{};    // share of the step
  double t50{}, rise{};  // s
};

// Moves the servo's reference by a step that the hand cannot make, by way of a step of the ratio's filterless speed
// law: the reference is hand / ratio.
Response step_by_ratio(Truth truth, Duration step) {
  truth.ratio = {.standstill = 8.0, .at_speed = 4.0, .speed = 1.0, .speed_lag = 0.0};
  Plant plant{truth, 1, BenchTime{}, step};
  power_up(plant);
  plant.set(PlantInput::hand_mode, 1.0);
  plant.set(PlantInput::hand_angle_cmd, 8.0);
  plant.advance_to(plant.now() + 3s);
  const double before = plant.actual().road_angle;
  const double after = plant.actual().hand_angle / 4.0;
  plant.set(PlantInput::vehicle_speed, 1.0);
  const auto from = plant.now();
  double t10{}, t50{}, t90{}, peak{}, last{};
  for (BenchTime t = from + step; t < from + 1s; t += step) {
    plant.advance_to(t);
    const double y = (plant.actual().road_angle - before) / (after - before);
    const auto crossed = [&](double level, double& when) {
      if (when == 0.0 && y >= level) when = seconds(t - from) - seconds(step) * (y - level) / (y - last);
    };
    crossed(0.1, t10), crossed(0.5, t50), crossed(0.9, t90);
    peak = std::max(peak, y);
    last = y;
  }
  return {peak - 1.0, t50, t90 - t10};
}

}  // namespace

TEST_CASE("the servo answers a small step as the textbook's second-order system") {
  // Textbook closed forms of a second-order step response; wn t50 and wn t(10-90) computed from them.
  struct Row {
    double zeta, overshoot_percent, wn_t50, wn_rise;
  };
  const auto row = GENERATE(Row{0.3, 37.233, 1.1822, 1.3213}, Row{0.5, 16.303, 1.2940, 1.6376},
                            Row{0.7, 4.599, 1.4281, 2.1262}, Row{0.9, 0.152, 1.5880, 2.8830});
  CAPTURE(row.zeta);
  auto truth = linear();
  truth.road.damping = row.zeta;
  const auto r = step_by_ratio(truth, 50us);
  const double wn = truth.road.natural_frequency;
  CHECK(100 * r.overshoot == Approx(row.overshoot_percent).margin(0.15));
  // The integration may be late or early by one of its steps.
  CHECK(r.t50 == Approx(row.wn_t50 / wn).margin(60e-6));
  CHECK(r.rise == Approx(row.wn_rise / wn).margin(60e-6));
}

TEST_CASE("half the integration step halves the error against the closed form") {
  auto truth = linear();
  truth.road.damping = 0.5;
  // Textbook: overshoot = exp(-pi zeta / sqrt(1 - zeta^2)).
  const double exact = std::exp(-3.141592653589793 * 0.5 / std::sqrt(0.75));
  const double coarse = step_by_ratio(truth, 50us).overshoot - exact;
  const double fine = step_by_ratio(truth, 25us).overshoot - exact;
  CHECK(std::abs(coarse) < 1e-3);
  CHECK(std::abs(fine) < 0.6 * std::abs(coarse));
}

TEST_CASE("on a steady ramp the road follows dead time plus 2 zeta / wn late") {
  // Textbook: ramp lag of a second-order system is 2 zeta / wn; a dead time adds itself.
  auto truth = linear();
  truth.road.dead_time = GENERATE(0us, 12000us, 12345us, 60000us);
  Plant plant{truth, 1};
  power_up(plant);
  plant.set(PlantInput::hand_mode, 1.0);
  run(plant, 2s, [&](double t) { plant.set(PlantInput::hand_angle_cmd, 40.0 * t); });
  const auto a = plant.actual();
  const double lag = (a.hand_angle / a.ratio - a.road_angle) / (a.hand_speed / a.ratio);
  CHECK(lag ==
        Approx(seconds(truth.road.dead_time) + 2.0 * truth.road.damping / truth.road.natural_frequency).margin(20e-6));
}

TEST_CASE("play makes the loop of a play operator as wide as the gap, and friction adds 2 F / k") {
  // Closed form of the play operator: horizontal width = total gap. A servo of stiffness k against Coulomb friction F
  // rests F / k short on either side (statics).
  auto truth = linear();
  truth.road.play = GENERATE(0.0, 0.12, 0.3);
  truth.road.friction = GENERATE(0.0, 60.0);
  CAPTURE(truth.road.play, truth.road.friction);
  const double k =
      truth.road.mass * truth.road.travel * 1e-3 * truth.road.natural_frequency * truth.road.natural_frequency;
  Plant plant{truth, 1};
  power_up(plant);
  plant.set(PlantInput::hand_mode, 1.0);
  // So slow that lag is nothing; past the centre once each way.
  const auto at_centre = [&](double direction) {
    run(plant, 20s, [&](double t) { plant.set(PlantInput::hand_angle_cmd, direction * (t - 10.0)); });
    run(plant, 10s, [&](double t) { plant.set(PlantInput::hand_angle_cmd, direction * (10.0 - t)); });
    return plant.actual().hand_angle / plant.actual().ratio - plant.actual().road_angle;
  };
  const double falling = at_centre(1.0), rising = at_centre(-1.0);
  const double lag = 2.0 * truth.road.damping / truth.road.natural_frequency / 8.0;  // deg, at 1 deg/s of hand
  CHECK(rising - falling == Approx(truth.road.play + 2.0 * truth.road.friction / k + 2.0 * lag).margin(0.002));
}

TEST_CASE("the motor-side sensor cannot see the play") {
  auto truth = linear();
  truth.road.play = 0.3;
  truth.road.noise = 0.0;
  Plant plant{truth, 1};
  power_up(plant);
  plant.set(PlantInput::hand_mode, 1.0);
  double from = 0.0;
  const auto settle = [&](double at) {
    run(plant, 4s,
        [&](double t) { plant.set(PlantInput::hand_angle_cmd, from + (at - from) * std::min(1.0, t / 3.0)); });
    from = at;
  };
  settle(40.0), settle(0.0);
  const double own = plant.read(PlantOutput::unit_road_angle), road = plant.read(PlantOutput::road_angle);
  settle(-40.0), settle(0.0);
  CHECK(plant.read(PlantOutput::unit_road_angle) == Approx(own).margin(0.021));
  CHECK(road - plant.read(PlantOutput::road_angle) == Approx(0.3).margin(0.01));
}

TEST_CASE("a load beyond the wheel's friction takes the wheel across the gap and bends the servo by F / k") {
  auto truth = linear();
  truth.road.play = 0.2;
  truth.road.wheel_friction = 30.0;
  Plant plant{truth, 1};
  power_up(plant);
  const double k =
      truth.road.mass * truth.road.travel * 1e-3 * truth.road.natural_frequency * truth.road.natural_frequency;
  for (const double load : {20.0, 500.0, -500.0}) {
    CAPTURE(load);
    const double before = plant.actual().road_angle;
    plant.set(PlantInput::road_load_cmd, load);
    plant.advance_to(plant.now() + 2s);
    const double surplus = std::abs(load) > 30.0 ? load - std::copysign(30.0, load) : 0.0;
    CHECK(plant.actual().motor_angle == Approx(surplus / k).margin(1e-3));
    CHECK(plant.actual().road_angle ==
          Approx(surplus == 0.0 ? before : surplus / k + std::copysign(0.1, load)).margin(1e-3));
    CHECK(plant.actual().load == Approx(load));
  }
}

TEST_CASE("the ratio grows smoothly with speed between its two ends") {
  Plant plant{linear(), 1};
  power_up(plant);
  double last = 0.0, last_rise = 0.0;
  for (int kmh = 0; kmh <= 120; ++kmh) {
    plant.set(PlantInput::vehicle_speed, kmh);
    plant.advance_to(plant.now() + 2s);
    const double ratio = plant.actual().ratio;
    if (kmh == 0) CHECK(ratio == Approx(8.0));
    if (kmh == 50) CHECK(ratio == Approx(11.0));
    if (kmh >= 100) CHECK(ratio == Approx(14.0));
    if (kmh > 0) {
      const double rise = ratio - last;
      CHECK(rise > -1e-6);
      CHECK(std::abs(rise - last_rise) < 0.006);
      last_rise = rise;
    }
    last = ratio;
  }
}

TEST_CASE("the road wheel turns no faster than the rate limit, which falls with the supply") {
  Truth truth = linear();
  truth.road.rate_limit = 60.0;
  // Half way between brown-out and nominal half the rate is left.
  const auto [volts, rate] = GENERATE(std::pair{13.5, 60.0}, std::pair{8.75, 30.0});
  CAPTURE(volts);
  truth.power.idle_current = truth.power.current_per_force = 0.0;
  truth.supply.resistance = 1e-4;
  Plant plant{truth, 1};
  power_up(plant, volts);
  plant.set(PlantInput::hand_mode, 1.0);
  double rate_seen = 0.0, before = 0.0;
  run(plant, 300ms, [&](double t) {
    plant.set(PlantInput::hand_angle_cmd, 800.0 * t);
    if (t >= 0.15) rate_seen = (plant.actual().road_angle - before) / 0.001;
    before = plant.actual().road_angle;
  });
  CHECK(rate_seen == Approx(rate).epsilon(0.02));
  CHECK((static_cast<unsigned>(plant.read(PlantOutput::unit_warning)) & warning_at_limit) != 0);
}
