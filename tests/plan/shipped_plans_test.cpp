// The plans that come with the program, on the demo bench.

#include <cmath>
#include <cstdio>

#include "tests/plan/demo.hpp"

using namespace trackrod;
using namespace trackrod::test;

namespace {

std::unique_ptr<Timeline> timeline_of(const std::string& name) {
  const auto reading = read_plan(slurp(source_dir / "plans" / name));
  INFO(name << "\n" << reading.sentences());
  REQUIRE(reading.plan);
  Problems problems;
  auto timeline = Timeline::compile(*reading.plan, demo_bench(), problems);
  REQUIRE(timeline);
  return timeline;
}

// The bench of the plans that make faults of wires and feeds.
const Bench& faults_bench() {
  static const auto bench = [] {
    Problems problems;
    const auto sources = load_bench_sources(source_dir / "fixtures/demo_bench/bench-faults.json");
    REQUIRE(sources);
    auto b = parse_bench(*sources, whole_catalogue(), problems);
    REQUIRE(b);
    return b;
  }();
  return *bench;
}

}  // namespace

TEST_CASE("the shipped plans of faults read, and stay away from the limits of the bench for them") {
  for (const std::string name : {"fault-campaign.json", "double-faults.json", "changeover.json"}) {
    CAPTURE(name);
    Problems problems;
    const auto plan =
        parse_plan({{name, slurp(source_dir / "plans" / name)}}, {}, faults_bench(), whole_catalogue(), problems);
    for (const auto& p : problems.sorted()) UNSCOPED_INFO(p.sentence());
    REQUIRE(plan);
    const auto timeline = Timeline::compile(*plan, faults_bench(), problems);
    REQUIRE(timeline);
    for (const auto& s : preview(*timeline, faults_bench()).signals) {
      const auto& unit = faults_bench().signals[s.signal].info.unit;
      for (const auto& use : s.limits)
        if (unit != "1" && !(unit == "km/h" && use.asked == 0.0)) CHECK(use.margin > 0);
    }
  }
}

TEST_CASE("the shipped plans take the time they are said to take") {
  CHECK(seconds(timeline_of("response.json")->length()) < 115);
  CHECK(seconds(timeline_of("on-centre.json")->length()) < 115);
  CHECK(seconds(timeline_of("frequency.json")->length()) < 115);
  CHECK(seconds(timeline_of("play.json")->length()) < 115);
  CHECK(seconds(timeline_of("end-stop.json")->length()) < 115);
  CHECK(seconds(timeline_of("following.json")->length()) < 115);
  CHECK(seconds(timeline_of("feedback.json")->length()) < 115);
  CHECK(seconds(timeline_of("supply.json")->length()) < 115);
  CHECK(seconds(timeline_of("hold-up.json")->length()) < 520);         // by far most of it the longest time of waits
  CHECK(seconds(timeline_of("lowest-voltage.json")->length()) < 650);  // likewise
  CHECK(seconds(timeline_of("degraded.json")->length()) < 115);
  CHECK(seconds(timeline_of("speed-change.json")->length()) < 115);
  CHECK(seconds(timeline_of("grip-loss.json")->length()) < 115);
  CHECK(seconds(timeline_of("pothole.json")->length()) < 115);
  CHECK(seconds(timeline_of("swerve.json")->length()) < 115);
  CHECK(seconds(timeline_of("parking.json")->length()) < 115);
  const double acceptance = seconds(timeline_of("acceptance.json")->length());
  CHECK(acceptance > 240);
  CHECK(acceptance < 330);
}

TEST_CASE("the shipped plans stay away from the limits of the demo bench") {
  for (const auto& name : shipped_plans()) {
    const auto timeline = timeline_of(name);
    for (const auto& s : preview(*timeline, demo_bench()).signals) {
      if (demo_bench().signals[s.signal].info.unit == "1") continue;  // a switch has no other values than its ends
      for (const auto& use : s.limits) {
        const bool of_speed = demo_bench().signals[s.signal].info.unit == "km/h";
        if (of_speed && use.limit == "lower end of the range" && use.asked == 0.0) continue;  // a vehicle that stands
        CAPTURE(name, demo_bench().signals[s.signal].info.name, use.limit, use.asked, use.allowed);
        CHECK(use.margin > 0);
        CHECK_FALSE(use.near);
      }
    }
  }
}

TEST_CASE("the acceptance plan does all that the response and on-centre plans do") {
  const auto names = [](const std::string& plan) {
    std::vector<std::string> all;
    const auto timeline = timeline_of(plan);
    for (const auto& s : timeline->steps()) all.push_back(s.name);
    return all;
  };
  const auto whole = names("acceptance.json");
  for (const auto& part : {"response.json", "on-centre.json"})
    for (const auto& name : names(part)) {
      CAPTURE(part, name);
      CHECK(std::find(whole.begin(), whole.end(), name) != whole.end());
    }
}
