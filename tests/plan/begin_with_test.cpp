// A run that goes on from a later step of its plan.

#include <cmath>

#include "tests/plan/demo.hpp"

using namespace trackrod;
using namespace trackrod::test;
using namespace std::chrono_literals;

TEST_CASE("a timeline may begin with a later step, each signal where that step finds it") {
  const auto plan = read_plan(R"({"plan": "p", "control": {"hand_wheel": "position"},
    "start": {"hand.angle_cmd": "0 deg", "vehicle.speed": "10 km/h"}, "steps": [
    {"do": "ramp", "name": "out", "signal": "hand.angle_cmd", "to": "20 deg", "rate": "20 deg/s"},
    {"do": "repeat", "times": 3, "steps": [
      {"do": "ramp", "name": "on", "signal": "hand.angle_cmd", "to": "30 deg", "rate": "20 deg/s"},
      {"do": "ramp", "name": "back", "signal": "hand.angle_cmd", "to": "25 deg", "rate": "20 deg/s"}]},
    {"do": "road", "steps": [{"do": "hold", "name": "bend", "for": "1 s"}, {"do": "hold", "name": "straight", "for": "1 s"}]},
    {"do": "hold", "name": "rest", "for": "2 s"}]})");
  INFO(plan.sentences());
  REQUIRE(plan.plan);
  const auto made = [&] {
    Problems problems;
    auto timeline = Timeline::compile(*plan.plan, demo_bench(), problems);
    REQUIRE(timeline);
    return timeline;
  };
  const auto angle = demo_bench().find("hand.angle_cmd");
  const auto start_of = [&](const Timeline& t) -> double {
    for (const auto& [signal, value] : t.start())
      if (signal == angle) return value;
    return NAN;
  };
  SECTION("a step, with all behind it") {
    auto t = made();
    REQUIRE(t->begin_with("rest"));
    CHECK(start_of(*t) == Approx(25));
    CHECK(t->length() == 2s);
    CHECK(t->step_count() == 1);
    CHECK(Timeline::Cursor{*t}.current()->name == "rest");
  }
  SECTION("a repeat anew, whichever of its steps is named") {
    auto t = made();
    REQUIRE(t->begin_with("back"));
    CHECK(start_of(*t) == Approx(20));
    CHECK(Timeline::Cursor{*t}.current()->name == "on");
  }
  SECTION("the first one changes nothing") {
    auto t = made();
    const auto whole = t->length();
    REQUIRE(t->begin_with("out"));
    CHECK(start_of(*t) == 0.0);
    CHECK(t->length() == whole);
  }
  SECTION("not in the middle of a road, nor where there is no such step") {
    auto t = made();
    CHECK(t->begin_with("straight").error().context.find("in the middle of a road") != std::string::npos);
    CHECK(t->begin_with("bac").error().context.find("did you mean 'back'?") != std::string::npos);
    CHECK(t->begin_with("bac").error().fault == Fault::bad_input);
  }
}
