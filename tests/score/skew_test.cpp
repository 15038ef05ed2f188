// The score `skew` on two sensors that are known exactly.

#include "harness/score/findings.hpp"
#include "tests/score/drawn.hpp"
#include "tests/score/rig.hpp"

namespace trackrod::test {
namespace {

Sensor sensor(double delay, double phase) {
  Sensor s;
  s.noise = 0.005;
  s.delay = delay;
  s.phase = phase;
  return s;
}

const Motion to_and_fro = steps(40, 0.1, 1.0);

TEST_CASE("skew is found in steps, triangles and sines, whichever sensor is the later one") {
  for (const auto& [name, motion] :
       {std::pair<std::string, Motion>{"steps", to_and_fro}, {"triangle", triangle(40, 80)}, {"sine", sine(40, 1.0)}})
    for (const double skew : {-0.03, -0.0004, 0.0, 0.0004, 0.012}) {
      CAPTURE(name, skew);
      const auto c = record_two(motion, 0.7, 4.0, sensor(0.02, 0.0003), sensor(0.02 + skew, 0.0007), 5);
      const auto result = score("skew", c);
      const auto found = finding_of(result, "skew");
      CAPTURE(found.reason);
      REQUIRE(found.value);
      CAPTURE(*found.value, *found.standard_uncertainty);
      CHECK(std::abs(*found.value - 1e3 * skew) < 0.03);
      CHECK(std::abs(*found.value - 1e3 * skew) < 3.0 * *found.standard_uncertainty);
      CHECK(value_of(result, "gain") == Approx(0.7).epsilon(0.001));
      CHECK(value_of(result, "residual") == Approx(0.0061).margin(0.001));
    }
}

TEST_CASE("what the bench states of the delays is taken out of what remains, and not of the skew") {
  auto a = sensor(0.001, 0.0003), b = sensor(0.0045, 0.0007);
  a.said_delay = 0.001;
  b.said_delay = 0.003;
  b.said_delay_u = 0.001;
  auto c = record_two(to_and_fro, 1.0, 4.0, a, b, 5);
  c.infos[1].clock_asymmetry = from_seconds(0.01);
  const auto result = score("skew", c);
  CHECK(value_of(result, "skew") == Approx(3.5).margin(0.03));
  CHECK(value_of(result, "remaining") == Approx(1.5).margin(0.03));
  // The stamps are what is compared: what is thought of the delays and paths does not make them less certain.
  CHECK(*finding_of(result, "skew").standard_uncertainty < 0.02);
}

TEST_CASE("a ramp that moves a coarse sensor by whole steps between its samples has the rounding in its interval") {
  // 10 deg/s, 0.1 deg, 10 ms: every sample of a ramp is rounded by the same part of a step, up to 5 ms.
  for (const double phase : {0.0003, 0.0023, 0.0048, 0.0077}) {
    CAPTURE(phase);
    auto fine = sensor(0.0, 0.0003), coarse = sensor(0.0017, phase);
    coarse.noise = 0.0, coarse.resolution = 0.1, coarse.interval = 0.01;
    const auto even = finding_of(score("skew", record_two(triangle(20, 10), 1.0, 16.0, fine, coarse, 5)), "skew");
    REQUIRE(even.interval);
    CAPTURE(*even.value, (*even.interval)[0], (*even.interval)[1]);
    CHECK((*even.interval)[0] <= 1.7);
    CHECK((*even.interval)[1] >= 1.7);
    // At a rate beside it the samples fall on all places, and the interval is a narrow one.
    const auto odd = finding_of(score("skew", record_two(triangle(20, 10.37), 1.0, 16.0, fine, coarse, 5)), "skew");
    REQUIRE(odd.interval);
    CAPTURE(*odd.value, (*odd.interval)[0], (*odd.interval)[1]);
    CHECK((*odd.interval)[0] <= 1.7);
    CHECK((*odd.interval)[1] >= 1.7);
    CHECK(*odd.standard_uncertainty < 0.5 * *even.standard_uncertainty);
  }
}

TEST_CASE("skew over several cycles tells their scatter") {
  auto c = record_two(to_and_fro, 1.0, 8.0, sensor(0.001, 0.0003), sensor(0.002, 0.0007), 5);
  set_cycles(c, "move", 4, 2.0);
  const auto found = finding_of(score("skew", c), "skew");
  CHECK(*found.value == Approx(1.0).margin(0.02));
  CHECK(std::any_of(found.conditions.begin(), found.conditions.end(), [](const auto& k) {
    return k == std::pair<std::string, std::string>{"cycles", "4"};
  }));
}

TEST_CASE("what half-width the stamps state goes into the skew") {
  auto c = record_two(to_and_fro, 1.0, 4.0, sensor(0.001, 0.0003), sensor(0.002, 0.0007), 5);
  for (auto& p : c.samples[1]) p.uncertainty_ns = 300000;
  CHECK(*finding_of(score("skew", c), "skew").standard_uncertainty == Approx(0.3 / std::sqrt(3.0)).margin(0.02));
}

TEST_CASE("signals that go opposite ways are no skew, unless that is meant") {
  const auto c = record_two(to_and_fro, -1.0, 4.0, sensor(0.001, 0.0003), sensor(0.002, 0.0007), 5);
  check_all_empty(score("skew", c), "wrong sign");
  CHECK(value_of(score("skew", c, R"({"sign": "opposite"})"), "skew") == Approx(1.0).margin(0.03));
  const auto straight = record_two(to_and_fro, 1.0, 4.0, sensor(0.001, 0.0003), sensor(0.002, 0.0007), 5);
  check_all_empty(score("skew", straight, R"({"sign": "opposite"})"), "wrong sign");
}

TEST_CASE("without motion, or with another one, there is no skew") {
  const auto a = sensor(0.001, 0.0003), b = sensor(0.002, 0.0007);
  check_all_empty(score("skew", record_two([](double) { return 3.0; }, 1.0, 4.0, a, b, 5)), "no motion");
  // A unit in between, with play and slowness, is another motion.
  SteeredUnit unit;
  unit.dead_time = 0.002;
  unit.play = 1.0;
  check_all_empty(score("skew", record(unit, to_and_fro, 4.0, a, b, 5)), "do not see the same motion");
  // The skew lies beyond what is looked for.
  const auto late = record_two(to_and_fro, 1.0, 4.0, a, sensor(0.2, 0.0007), 5);
  check_all_empty(score("skew", late), "50 ms");
  CHECK(value_of(score("skew", late, R"({"longest": "300 ms"})"), "skew") == Approx(199.0).margin(0.05));
}

TEST_CASE("missing samples are left out, and too many of them tell nothing") {
  auto c = record_two(triangle(40, 80), 1.0, 6.0, sensor(0.001, 0.0003), sensor(0.003, 0.0007), 5);
  auto& road = c.samples[1];
  const auto without = [&](double from, double to) {
    std::erase_if(road, [&](const Point& p) { return p.when >= at(from) && p.when < at(to); });
  };
  without(2.0, 2.1);
  CHECK(value_of(score("skew", c), "skew") == Approx(2.0).margin(0.03));
  without(3.0, 3.6);
  check_all_empty(score("skew", c), "no samples for");
  for (auto& p : road) p.value = std::nan("");
  check_all_empty(score("skew", c), "no value");
}

TEST_CASE("a driven signal sees no motion") {
  auto c = record_two(to_and_fro, 1.0, 4.0, sensor(0.001, 0.0003), sensor(0.002, 0.0007), 5);
  c.infos[0].direction = Direction::drive;
  check_all_empty(score("skew", c), "driven");
  c.all_spans.clear();
  const auto none = score("skew", c);
  check_all_empty(none, "no complete step");
  for (const auto& f : none.findings) CHECK(f.verdict == Verdict::not_run);
}

TEST_CASE("of signals measured against one sensor only their skews stay uncertain, whatever its own delay is") {
  SignalInfo base, late, other;
  base.name = "base";
  base.delay_uncertainty = from_seconds(0.002);
  late.name = "late";
  late.delay_uncertainty = from_seconds(0.0021);  // with that of "base"
  late.skew = {"base", {}, from_seconds(0.0003), "2026-01-01", "", ""};
  other = late;
  other.name = "other";
  other.skew.uncertainty = from_seconds(0.0004);
  const auto u = [](const SignalInfo& a, const SignalInfo& b) {
    return combine(0.0, time_shift_budget(a, b, 0.0, 0.0)).standard_uncertainty;
  };
  CHECK(u(base, late) == Approx(0.3));
  CHECK(u(late, base) == Approx(0.3));
  CHECK(u(late, other) == Approx(0.5));
  SignalInfo stranger;
  stranger.name = "stranger";
  stranger.delay_uncertainty = from_seconds(0.001);
  CHECK(u(late, stranger) == Approx(std::hypot(2.1, 1.0)));
}

TEST_CASE("the skew of each cycle is drawn beside the mean with its interval") {
  auto c = record_two(to_and_fro, 0.7, 4.0, sensor(0.02, 0.0003), sensor(0.0204, 0.0007), 5);
  const auto result = score("skew", c);
  check_marked(result, "skew", finding_of(result, "skew"));
}

}  // namespace
}  // namespace trackrod::test
