#include <chrono>
#include <cmath>
#include <numbers>

#include "tests/catch.hpp"
#include "tests/plan/small_bench.hpp"

using namespace trackrod;
using namespace trackrod::test;
using namespace std::chrono_literals;

namespace {

Worked good(const std::string& text) {
  auto w = work_out(text);
  INFO(w.sentences());
  REQUIRE(w.timeline);
  return w;
}
const Motion& motion(const Worked& w, std::size_t step = 0) { return w.timeline->steps()[step].channels.at(0).motion; }

}  // namespace

TEST_CASE("a step goes to its value within its limits and holds it") {
  const auto w = good(plan_of(
      R"({"do": "step", "name": "left", "signal": "axis.angle_cmd", "to": "30 deg", "slew": "400 deg/s", "for": "1.5 s"})"));
  const auto& step = w.timeline->steps()[0];
  CHECK(step.name == "left");
  CHECK(step.length == 1575ms);  // 30 deg / 400 deg/s = 75 ms, and 1.5 s
  CHECK(motion(w).at(37500us) == Approx(15));
  CHECK(motion(w).at(75ms) == Approx(30));
  CHECK(motion(w).end == 30);
  CHECK(w.timeline->length() == 1575ms);
}

TEST_CASE("a step that gives no limit of its own keeps those of the bench") {
  const auto w = good(plan_of(R"({"do": "step", "signal": "axis.angle_cmd", "to": "30 deg", "for": "1 s"},
                               {"do": "step", "signal": "load", "to": "5 kN", "for": "1 s"},
                               {"do": "step", "signal": "volts", "to": "12 V", "for": "1 s"})"));
  CHECK(extent(motion(w, 0)).rate == Approx(1000));
  CHECK(extent(motion(w, 1)).rate <= 50e3 * (1 + 1e-9));
  CHECK(extent(motion(w, 1)).jerk == Approx(1e9));
  CHECK(motion(w, 2).at(0s) == 12);  // nothing limits it: it jumps
  CHECK(std::isinf(extent(motion(w, 2)).rate));
}

TEST_CASE("a ramp takes distance over rate, in the units given") {
  const auto w =
      good(plan_of(R"({"do": "ramp", "signal": "speed", "to": "72 km/h", "rate": "2 m/s^2", "for": "500 ms"})"));
  CHECK(w.timeline->steps()[0].length == 10500ms);  // 20 m/s at 2 m/s^2
  CHECK(motion(w).at(5s) == Approx(36));
}

TEST_CASE("a staircase halts on equal treads") {
  const auto w = good(plan_of(
      R"({"do": "staircase", "signal": "axis.angle_cmd", "to": "-50 deg", "treads": 5, "tread_time": "500 ms", "rise_rate": "100 deg/s"})"));
  CHECK(w.timeline->steps()[0].length == 3s);  // five times 0.1 s of rise and 0.5 s of halt
  for (int i = 0; i < 5; ++i) CHECK(motion(w).at(600ms * i + 350ms) == Approx(-10 * (i + 1)));
}

TEST_CASE("a profile goes in straight lines through its points") {
  const auto w = good(plan_of(R"({"do": "profile", "signal": "volts", "points": [
      {"at": "10 ms", "value": "6 V"}, {"at": "500 ms", "value": "6 V"}, {"at": "1.5 s", "value": "12 V"}]})",
                              R"("volts": "12 V")"));
  CHECK(w.timeline->steps()[0].length == 1500ms);
  CHECK(motion(w).at(5ms) == Approx(9));
  CHECK(motion(w).at(300ms) == Approx(6));
  CHECK(motion(w).at(1s) == Approx(9));
  CHECK(motion(w).end == 12);
}

TEST_CASE(
    "a profile whose points are not in order, or that is steeper than the bench allows, is refused at the point") {
  const auto refused = [](const std::string& points) {
    const auto w =
        work_out(plan_of(R"({"do": "profile", "signal": "speed", "points": [)" + points + "]}"), {}, small_bench());
    CHECK_FALSE(w.timeline);
    return w.sentences();
  };
  CHECK(refused(R"({"at": "2 s", "value": "10 km/h"}, {"at": "2 s", "value": "12 km/h"})").find("later than 2 s") !=
        std::string::npos);
  const auto steep = refused(R"({"at": "1 s", "value": "36 km/h"}, {"at": "2 s", "value": "73 km/h"})");
  CHECK(steep.find("would reach 37 km/h/s") != std::string::npos);
}

TEST_CASE("a triangle without limits has sharp corners, exact turning points and 4 A / r a cycle") {
  const auto w = good(plan_of(
      R"({"do": "triangle", "signal": "axis.angle_cmd", "amplitude": "20 deg", "rate": "40 deg/s", "cycles": 3})"));
  CHECK(w.timeline->length() == 6s);
  CHECK(motion(w).pieces.size() == 7);
  CHECK(motion(w).at(500ms) == Approx(20));
  CHECK(motion(w).at(1500ms) == Approx(-20));
  CHECK(motion(w).at(250ms) == Approx(10));  // first towards positive
  CHECK(motion(w).end == 0);
  CHECK(extent(motion(w)).high == Approx(20));
  CHECK(extent(motion(w)).rate == Approx(40));
}

TEST_CASE("rounded corners of a triangle keep its turning points and cost r / a each") {
  // With acceleration a each turn takes 2 r / a and saves r / a of straight way; the run-up and the stop cost r / (2 a)
  // more each: 4 n A / r + (2 n + 1) r / a in all.
  const auto w = good(plan_of(
      R"({"do": "triangle", "signal": "axis.angle_cmd", "amplitude": "20 deg", "rate": "60 deg/s", "acceleration": "1000 deg/s^2", "cycles": 4})"));
  const auto e = extent(motion(w));
  CHECK(motion(w).seconds() == Approx(4 * 4 * 20.0 / 60 + 9 * 60.0 / 1000));
  CHECK(e.high == Approx(20));
  CHECK(e.low == Approx(-20));
  CHECK(e.rate == Approx(60));
  CHECK(e.acceleration == Approx(1000));
  CHECK(motion(w).end == 0);

  const auto j = good(plan_of(
      R"({"do": "triangle", "signal": "axis.angle_cmd", "amplitude": "20 deg", "rate": "60 deg/s", "jerk": "1e5 deg/s^3", "cycles": 100, "centre": "5 deg"})"));
  const auto f = extent(motion(j));
  CHECK(f.high == Approx(25));
  CHECK(f.low == Approx(-15));
  CHECK(f.rate == Approx(60));
  CHECK(f.jerk == Approx(1e5).epsilon(1e-6));
  CHECK(motion(j).end == 5);
}

TEST_CASE("a sine is A sin(2 pi f t), and fades from rest to rest") {
  const auto w = good(
      plan_of(R"({"do": "sine", "signal": "axis.angle_cmd", "amplitude": "10 deg", "frequency": "0.5 Hz", "cycles": 4},
       {"do": "sine", "signal": "axis.angle_cmd", "amplitude": "10 deg", "frequency": "0.5 Hz", "cycles": 6, "fade_cycles": 1})"));
  CHECK(w.timeline->steps()[0].length == 8s);
  for (const auto t : {0ms, 300ms, 1234ms, 7777ms})
    CHECK(motion(w, 0).at(t) == Approx(10 * std::sin(2 * std::numbers::pi * 0.5 * seconds(t))).margin(1e-9));
  for (const auto t : {2s, 3s, 5s, 10s})  // between the fades
    CHECK(motion(w, 1).at(t + 123ms) ==
          Approx(10 * std::sin(2 * std::numbers::pi * 0.5 * seconds(t + 123ms))).margin(t == 10s ? 10 : 1e-9));
  const auto e = extent(motion(w, 1));
  CHECK(e.high == Approx(10));
  CHECK(std::isfinite(e.jerk));  // no jump anywhere
  CHECK(std::isinf(extent(motion(w, 0)).acceleration));
}

TEST_CASE("a hold keeps everything, or brings one signal to a value") {
  const auto w = good(
      plan_of(R"({"do": "hold", "for": "2 s"}, {"do": "hold", "signal": "speed", "at": "18 km/h", "for": "1 s"})"));
  CHECK(w.timeline->steps()[0].channels.empty());
  CHECK(w.timeline->steps()[0].length == 2s);
  CHECK(w.timeline->steps()[1].length == 1500ms);  // 18 km/h at 36 km/h/s, and 1 s
}

TEST_CASE("a wait carries its condition and counts with its longest time") {
  const auto w = good(plan_of(
      R"({"do": "wait", "signal": "axis.angle", "at_least": "-1 deg", "at_most": "17.45329252 mrad", "hold_for": "200 ms", "within": "5 s"})"));
  const auto& step = w.timeline->steps()[0];
  REQUIRE(step.until);
  CHECK(step.until->signal == angle);
  CHECK(step.until->low == -1);
  CHECK(step.until->high == Approx(1));
  CHECK(step.hold_for == 200ms);
  CHECK(step.length == 5s);
}

TEST_CASE("an injection stands in its step at its instant, and takes its trigger's time as well as its own") {
  const auto w = good(plan_of(R"({"do": "parallel", "tracks": [
       [{"do": "ramp", "signal": "axis.angle_cmd", "to": "20 deg", "rate": "20 deg/s"}],
       [{"do": "hold", "for": "300 ms"}, {"do": "inject", "fault": "relay_open", "for": "2 s",
         "when": {"signal": "axis.angle", "at_least": "10 deg", "within": "1 s"}}]]})"));
  const auto& step = w.timeline->steps()[0];
  CHECK(step.length == 3300ms);
  REQUIRE(step.injections.size() == 1);
  const auto& injection = step.injections[0];
  CHECK(injection.fault == 0);
  CHECK(injection.from == 300ms);
  CHECK(injection.within == 1s);
  CHECK(injection.lasts == 2s);
  REQUIRE(injection.when);
  CHECK(injection.when->met_by(10.0));
  CHECK_FALSE(injection.when->met_by(9.9));
}

TEST_CASE("the tracks of a parallel run at once and make one step") {
  const auto w = good(plan_of(R"({"do": "parallel", "name": "both", "tracks": [
       [{"do": "hold", "for": "1 s"},
        {"do": "ramp", "signal": "axis.angle_cmd", "to": "20 deg", "rate": "20 deg/s"},
        {"do": "ramp", "signal": "axis.angle_cmd", "to": "0 deg", "rate": "40 deg/s"}],
       [{"do": "ramp", "signal": "speed", "to": "36 km/h", "rate": "3.6 km/h/s"}]]})"));
  REQUIRE(w.timeline->steps().size() == 1);
  const auto& step = w.timeline->steps()[0];
  CHECK(step.name == "both");
  CHECK(step.length == 10s);
  REQUIRE(step.channels.size() == 2);
  const auto& hand = step.channels[0].motion;
  CHECK(hand.at(1s) == Approx(0).margin(1e-12));
  CHECK(hand.at(1500ms) == Approx(10));
  CHECK(hand.at(2250ms) == Approx(10));
  CHECK(hand.at(9s) == 0);
  CHECK(step.channels[1].motion.at(5s) == Approx(18));
}

TEST_CASE("each step starts where the one before ended, and the first where the plan starts") {
  const auto w = good(plan_of(
      R"({"do": "step", "signal": "axis.angle_cmd", "to": "33.3 deg", "for": "1 s"}, {"do": "hold", "for": "1 s"},
       {"do": "triangle", "signal": "axis.angle_cmd", "amplitude": "5 deg", "rate": "50 deg/s", "cycles": 2})",
      R"("axis.angle_cmd": "-10 deg")"));
  CHECK(motion(w, 0).start == -10);
  CHECK(motion(w, 2).start == 33.3);
  CHECK(motion(w, 2).end == 33.3);
  CHECK(w.timeline->start() == std::vector<std::pair<SignalIndex, double>>{{angle_cmd, -10}});
}

TEST_CASE("a signal that the plan moves starts from what arming leaves, else from rest") {
  const auto w = good(plan_of(
      R"({"do": "ramp", "signal": "volts", "to": "9 V", "rate": "1 V/s"}, {"do": "ramp", "signal": "load", "to": "1 N", "rate": "1 N/s"})"));
  CHECK(w.timeline->start() == std::vector<std::pair<SignalIndex, double>>{{load, 0}, {volts, 13.5}});
}

TEST_CASE("unnamed steps are called by their place") {
  const auto w = good(plan_of(
      R"({"do": "hold", "for": "1 s"}, {"do": "repeat", "times": 2, "steps": [{"do": "hold", "for": "1 s"}, {"do": "hold", "for": "2 s"}]})"));
  CHECK(w.timeline->steps()[0].name == "step-1");
  CHECK(w.timeline->steps()[1].name == "step-2.1");
  CHECK(w.timeline->steps()[2].name == "step-2.2");
}

TEST_CASE("variables take the place of values, and can be set from outside") {
  const std::string text =
      R"({"plan": "p", "variables": {"rate": "50 deg/s", "n": 2, "angle": 20}, "control": {"axis": "position"}, "steps": [
      {"do": "triangle", "signal": "axis.angle_cmd", "amplitude": "${angle} deg", "rate": "${rate}", "cycles": "${n}"}]})";
  CHECK(work_out(text).timeline->length() == 3200ms);
  CHECK(work_out(text, {{"n", "4"}, {"angle", "10"}}).timeline->length() == 3200ms);
  CHECK(work_out(text, {{"rate", "100 deg/s"}}).timeline->length() == 1600ms);
}
