// The loop over the load model on the simulated bench, in virtual time: what the shipped plans find is what is so.

#include <cmath>
#include <random>

#include "tests/catch.hpp"
#include "tests/system/demo_rig.hpp"

using namespace trackrod::test;

namespace {

// With "road.dead_time=20 ms" for each truth that is not the demo's.
nlohmann::json rehearsed(const std::string& plan, const std::vector<std::string>& truths, unsigned seed) {
  const DemoRig rig;
  std::vector<std::string> more{"--seed", std::to_string(seed)};
  for (const auto& truth : truths) more.insert(more.end(), {"--truth-set", truth});
  auto program = rig.rehearse_plan(DemoRig::source("plans/" + plan), more);
  const int status = program->wait(180s);
  INFO(program->err());
  REQUIRE((status == 0 || status == 1 || status == 4));
  return nlohmann::json::parse(program->out());
}

Read found(const nlohmann::json& findings, const std::string& name, std::size_t which = 0) {
  const auto all = findings_named(findings, name);
  INFO(name);
  REQUIRE(all.size() > which);
  INFO(all[which].reason);
  REQUIRE(all[which].value);
  return all[which];
}

double even(std::mt19937& random, double low, double high) {
  return std::uniform_real_distribution<>{low, high}(random);
}

}  // namespace

// docs/load-model.md: K = ((8000 + 90e3 x 0.055 x 0.0625 / 0.4 + 150) Nm/rad) / (0.1375 m)^2 + 50 kN/m; half of 14 kN
// s/m by 11.5 ms.
TEST_CASE("check tells the margin to the stiffness that the loop bears") {
  const DemoRig rig;
  auto program = rig.start({"--json", "check", rig.bench()});
  REQUIRE(program->wait(60s) == 0);
  const auto load = nlohmann::json::parse(program->out()).at("load");
  CHECK(load.at("stiffness_N_per_m").get<double>() == Approx(521983.0).epsilon(1e-4));
  CHECK(load.at("margin").get<double>() == Approx(0.5 * 14e3 / 11.5e-3 / 521983.0).epsilon(1e-4));
  CHECK(program->err().find("margin 1.17") != std::string::npos);
}

TEST_CASE("in virtual time a loss of grip in a bend is told to the hand, whatever the unit's gain is") {
  const auto seed = std::random_device{}();
  CAPTURE(seed);
  std::mt19937 random{seed};
  const double gain = even(random, 0.0015, 0.003);
  CAPTURE(gain);
  // Without the friction of the drive, which keeps some of the torque to itself.
  const auto findings =
      rehearsed("grip-loss.json", {"hand.force_gain=" + std::to_string(gain) + " Nm/N", "drive.friction=0 Nm"}, seed);
  CHECK(*found(findings, "feedback.gain").value == Approx(gain).epsilon(0.02));
  CHECK(*found(findings, "feedback.loss_depth").value == Approx(100.0).margin(3.0));
  CHECK(*found(findings, "feedback.loss_delay").value == Approx(0.0).margin(3.0));
}

TEST_CASE("in virtual time a pothole reaches the hand as smooth as the unit makes it") {
  const auto seed = std::random_device{}();
  CAPTURE(seed);
  std::mt19937 random{seed};
  const double lag = even(random, 5.0, 40.0);  // ms
  CAPTURE(lag);
  const auto findings =
      rehearsed("pothole.json", {"hand.force_lag=" + std::to_string(lag) + " ms", "drive.friction=0 Nm"}, seed);
  // A first-order lag in the unit; and the drive that holds the wheel, whose motor shows the torque by its position
  // loop of 40 Hz and 0.9 (docs/simulated-bench.md).
  const auto shown = [&](double frequency) {
    const double r = frequency / 40.0, turned = 2.0 * 0.9 * r;
    return std::hypot(1.0, turned) / std::hypot(1.0 - r * r, turned) /
           std::hypot(1.0, 2.0 * std::acos(-1.0) * frequency * 1e-3 * lag);
  };
  const double frequencies[] = {3.0, 6.0, 10.0, 14.0};
  for (std::size_t i = 0; i < 4; ++i) {
    CAPTURE(frequencies[i]);
    const double truth = 100.0 * shown(frequencies[i]) / shown(frequencies[0]);
    CHECK(*found(findings, "feedback.let_through", i).value == Approx(truth).margin(2.0));
  }
}

// What the load takes from the motion, it takes from a slower reference in the same share.
TEST_CASE("in virtual time a swerve with the vehicle's load shows the unit's limit of rate and its dead time") {
  const auto seed = std::random_device{}();
  CAPTURE(seed);
  std::mt19937 random{seed};
  const double limit = even(random, 42.0, 52.0), dead_time = even(random, 8.0, 30.0);
  CAPTURE(limit, dead_time);
  const auto as_it_is = rehearsed("swerve.json", {}, seed);
  const auto slower = rehearsed(
      "swerve.json",
      {"road.rate_limit=" + std::to_string(limit) + " deg/s", "road.dead_time=" + std::to_string(dead_time) + " ms"},
      seed);
  const double rates[] = {100.0, 300.0, 500.0, 700.0, 800.0};
  for (std::size_t i = 0; i < 5; ++i) {
    CAPTURE(rates[i]);
    const double left = std::min(1.0, 14.0 * limit / rates[i]);  // the ratio is 14 at 100 km/h
    CHECK(*found(slower, "following.share", i).value ==
          Approx(left * *found(as_it_is, "following.share", i).value).epsilon(0.04));
  }
  // The demo's own dead time is 12 ms.
  CHECK(*found(slower, "delay.correlation_lag").value - *found(as_it_is, "delay.correlation_lag").value ==
        Approx(dead_time - 12.0).margin(1.0));
}

TEST_CASE("in virtual time the stops are found against the tyres of a standing vehicle") {
  const auto seed = std::random_device{}();
  CAPTURE(seed);
  std::mt19937 random{seed};
  const double stop = even(random, 139.9, 140.1);
  CAPTURE(stop);
  const auto findings = rehearsed("parking.json", {"drive.stop_angle=" + std::to_string(stop) + " deg"}, seed);
  for (const auto& [name, truth] : {std::pair{"end_stop.angle_positive", stop}, {"end_stop.angle_negative", -stop}})
    CHECK(*found(findings, name).value == Approx(truth).margin(0.03));
}
