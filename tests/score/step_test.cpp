// The score `step` on a rig that is known exactly.

#include "tests/score/drawn.hpp"
#include "tests/score/rig.hpp"

namespace trackrod::test {
namespace {

Sensor quiet_sensor(double noise, double phase) {
  Sensor s;
  s.noise = noise;
  s.phase = phase;
  return s;
}
KnownCapture stepped(const SteeredUnit& unit, double rise, std::uint64_t seed, int cycles = 4) {
  auto c = record(unit, steps(40, rise, 1.0), cycles, quiet_sensor(0.005, 0.0003), quiet_sensor(0.002, 0.0007), seed);
  set_cycles(c, "up_and_down", cycles, 1.0);
  return c;
}

// The noise-free instant at which the unit's answer to the first step passes a share of the change, ms after the
// input's 50 %.
double true_delay(const SteeredUnit& unit, double rise, double share) {
  const auto response = simulate(unit, steps(40, rise, 1.0), 1.0);
  const double last = response[response.size() - 10], first = response[0];
  for (std::size_t i = 1; i < response.size(); ++i) {
    const double before = (response[i - 1] - first) / (last - first), after = (response[i] - first) / (last - first);
    if (before < share && after >= share)
      return 1e3 *
             (25e-6 * (static_cast<double>(i - 1) + (share - before) / (after - before)) - 1.0 - 0.3 - 0.5 * rise);
  }
  return std::nan("");
}

TEST_CASE("delays, rise and settling agree with the noise-free response") {
  const SteeredUnit unit;
  const auto result = score("step", stepped(unit, 0.02, 1));
  for (const int percent : {10, 50, 90}) {
    const auto f = finding_of(result, "delay_" + std::to_string(percent));
    CAPTURE(f.name, f.reason);
    REQUIRE(f.value);
    const double truth = true_delay(unit, 0.02, 0.01 * percent);
    CHECK(*f.value == Approx(truth).margin(0.1));
    CHECK((*f.interval)[0] - 0.02 < truth);
    CHECK((*f.interval)[1] + 0.02 > truth);
  }
  CHECK(value_of(result, "rise_time") ==
        Approx(true_delay(unit, 0.02, 0.9) - true_delay(unit, 0.02, 0.1)).margin(0.15));
  CHECK(value_of(result, "overshoot") < 1.7);  // 1.52 % for an ideal step (closed form, damping 0.8)
  CHECK(value_of(result, "input_overshoot") < 0.1);
}

TEST_CASE("a falling step reads as a rising one does") {
  auto c = stepped(SteeredUnit{}, 0.02, 2, 2);
  c.all_spans = {c.all_spans[0]};
  const auto up = score("step", c);
  auto d = stepped(SteeredUnit{}, 0.02, 2, 2);
  d.all_spans = {d.all_spans[1]};
  const auto down = score("step", d);
  for (const auto* name : {"delay_10", "delay_50", "delay_90", "rise_time"})
    CHECK(value_of(up, name) == Approx(value_of(down, name)).margin(0.3));
}

TEST_CASE("an input that is itself slow allows no claim on the unit's rise") {
  const auto f = finding_of(score("step", stepped(SteeredUnit{}, 0.08, 3)), "rise_time");
  CHECK_FALSE(f.value);
  CHECK(f.reason.find("a third") != std::string::npos);
  CHECK(value_of(score("step", stepped(SteeredUnit{}, 0.08, 3)), "delay_50") > 0.0);
}

TEST_CASE("an overshoot is found, and one that noise could make is held to be none") {
  SteeredUnit unit;
  unit.damping = 0.4;
  const auto springy = finding_of(score("step", stepped(unit, 0.004, 4)), "overshoot");
  REQUIRE(springy.value);
  CHECK(*springy.value == Approx(25.38).margin(0.4));  // closed form: 100 exp(-pi zeta / sqrt(1 - zeta^2))
  unit.damping = 1.2;
  const auto dull = finding_of(score("step", stepped(unit, 0.02, 4)), "overshoot");
  REQUIRE(dull.value);
  CHECK((*dull.interval)[0] == 0.0);
  CHECK((*dull.interval)[1] < 0.5);
}

TEST_CASE("steady error is held against the ratio, and without one it is not claimed") {
  SteeredUnit unit;
  unit.ratio = 9.8;
  const auto with = finding_of(score("step", stepped(unit, 0.02, 5, 1), R"({"ratio": 10})"), "steady_error");
  REQUIRE(with.value);
  CHECK(*with.value == Approx(40.0 / 9.8 - 4.0).margin(0.002));
  const auto without = finding_of(score("step", stepped(unit, 0.02, 5, 1)), "steady_error");
  CHECK_FALSE(without.value);
  CHECK(without.reason.find("ratio") != std::string::npos);
}

TEST_CASE("calibration enters the steady error") {
  auto c = stepped(SteeredUnit{}, 0.02, 5, 1);
  c.infos[1].calibration.gain_uncertainty = 0.001;
  const auto f = finding_of(score("step", c, R"({"ratio": 10})"), "steady_error");
  CHECK(*f.standard_uncertainty == Approx(0.004).margin(0.0005));
}

TEST_CASE("an output that goes the wrong way is a polarity error, not a number") {
  SteeredUnit unit;
  unit.ratio = -10.0;
  check_all_empty(score("step", stepped(unit, 0.02, 6), R"({"ratio": 10})"), "polarity");
}

TEST_CASE("an output that has not come to rest has not settled") {
  SteeredUnit unit;
  unit.first_order = true;
  unit.natural = 2.0;  // half a second
  check_all_empty(score("step", stepped(unit, 0.02, 7)), "not settled");
}

TEST_CASE("an output that still rings has no settling time but has its delays") {
  SteeredUnit unit;
  unit.damping = 0.02;
  const auto result = score("step", stepped(unit, 0.02, 7, 1));
  const auto f = finding_of(result, "settling_time");
  CAPTURE(f.reason, f.value.value_or(-1.0));
  CHECK_FALSE(f.value);
}

TEST_CASE("no motion, frozen and saturated signals, and a drop-out at the crossing give reasons") {
  const auto still = [](double) { return 0.0; };
  auto c = record(SteeredUnit{}, still, 1.0, quiet_sensor(0.005, 0), quiet_sensor(0.002, 0), 1);
  for (const auto& f : score("step", c).findings) CHECK_FALSE(f.value);

  c = stepped(SteeredUnit{}, 0.02, 8);
  for (auto& p : c.samples[1]) p.value = 0.0;
  check_all_empty(score("step", c, R"({"ratio": 10})"), "did not change");

  auto clipped = quiet_sensor(0.002, 0.0);
  clipped.low = -1.0, clipped.high = 2.0;
  c = record(SteeredUnit{}, steps(40, 0.02, 1.0), 1.0, quiet_sensor(0.005, 0), clipped, 1);
  check_all_empty(score("step", c, R"({"ratio": 10})"), "saturated");

  c = stepped(SteeredUnit{}, 0.02, 9, 1);
  std::erase_if(c.samples[1], [](const Point& p) { return p.when > at(0.33) && p.when < at(0.37); });
  const auto f = finding_of(score("step", c), "delay_50");
  CHECK_FALSE(f.value);
  CHECK(f.reason.find("missing") != std::string::npos);
}

TEST_CASE("100 ms without samples of the output leave no overshoot or settling that is not the true one") {
  SteeredUnit unit;
  unit.damping = 0.5;  // overshoots by 16 %
  const auto whole = score("step", stepped(unit, 0.02, 9, 1));
  for (const double from : {0.05, 0.25, 0.28, 0.33, 0.36, 0.4, 0.5, 0.8})
    for (const std::size_t which : {0, 1}) {
      CAPTURE(which, from);
      auto c = stepped(unit, 0.02, 9, 1);
      std::erase_if(c.samples[which], [&](const Point& p) { return p.when > at(from) && p.when < at(from + 0.1); });
      const auto result = score("step", c);
      for (const auto* name : {"delay_10", "delay_50", "delay_90", "overshoot", "settling_time"}) {
        const auto f = finding_of(result, name);
        CAPTURE(name, f.reason);
        if (f.value) CHECK(*f.value == Approx(value_of(whole, name)).margin(0.01));
        if (!f.value) CHECK(f.reason.find("missing") != std::string::npos);
      }
    }
}

TEST_CASE("100 ms of one frozen value of either signal is no measurement, wherever it lies in the step") {
  for (const double from : {0.05, 0.25, 0.28, 0.33, 0.36, 0.4, 0.5, 0.8})
    for (const std::size_t which : {0, 1}) {
      CAPTURE(which, from);
      auto c = stepped(SteeredUnit{}, 0.02, 9, 1);
      double last = 0.0;
      for (auto& p : c.samples[which]) p.value = last = p.when > at(from) && p.when < at(from + 0.1) ? last : p.value;
      check_all_empty(score("step", c), "frozen");
    }
}

TEST_CASE("a peak that is cut off at a limit the bench file does not know shows no small overshoot") {
  SteeredUnit unit;
  unit.damping = 0.5;
  auto c = stepped(unit, 0.02, 9, 1);
  for (auto& p : c.samples[1]) p.value = std::min(p.value, 4.2);
  check_all_empty(score("step", c), "at its limit");
}

TEST_CASE("coarse resolution without noise widens the interval instead of averaging away") {
  auto hand = quiet_sensor(0.0, 0.0003), road = quiet_sensor(0.0, 0.0007);
  road.resolution = 0.1;
  auto c = record(SteeredUnit{}, steps(40, 0.02, 1.0), 4.0, hand, road, 10);
  set_cycles(c, "step", 4, 1.0);
  const auto f = finding_of(score("step", c), "delay_50");
  REQUIRE(f.value);
  const double truth = true_delay(SteeredUnit{}, 0.02, 0.5);
  CAPTURE(*f.value, (*f.interval)[0], (*f.interval)[1]);
  CHECK((*f.interval)[0] <= truth);
  CHECK((*f.interval)[1] >= truth);
  CHECK(*f.standard_uncertainty > 0.1);  // half a step over the slope: 0.05 deg / 90 deg/s / sqrt 3 and the levels
}

TEST_CASE("cycles are averaged, and their least and greatest are told") {
  const auto f = finding_of(score("step", stepped(SteeredUnit{}, 0.02, 12)), "delay_50");
  std::string told;
  for (const auto& [name, value] : f.conditions) told += name + "=" + value + ";";
  CHECK(told.find("cycles=4;") != std::string::npos);
  CHECK(told.find("least=") != std::string::npos);
  CHECK(told.find("greatest=") != std::string::npos);
}

TEST_CASE("the picture marks what all cycles say, with intervals, and both levels") {
  const auto result = score("step", stepped(SteeredUnit{}, 0.02, 1));
  REQUIRE(result.figures.size() == 1);
  check_marked(result, "10 %", finding_of(result, "delay_10"));
  check_marked(result, "50 %", finding_of(result, "delay_50"));
  check_marked(result, "90 %", finding_of(result, "delay_90"));
  check_marked(result, "settled", finding_of(result, "settling_time"));
  std::vector<double> levels;
  for (const auto& mark : result.figures[0].marks)
    if (mark.axis == 'y') levels.push_back(mark.value);
  CHECK(levels == std::vector<double>{0.0, 1.0});
}

}  // namespace
}  // namespace trackrod::test
