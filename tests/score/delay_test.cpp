// The score `delay` on a rig that is known exactly.

#include "tests/score/drawn.hpp"
#include "tests/score/rig.hpp"

namespace trackrod::test {
namespace {

Sensor hand_sensor() {
  Sensor s;
  s.noise = 0.005;
  s.phase = 0.0003;
  return s;
}
Sensor road_sensor() {
  Sensor s;
  s.noise = 0.002;
  s.phase = 0.0007;
  return s;
}
SteeredUnit real_unit() {  // play and friction, as a rack has them
  SteeredUnit unit;
  unit.play = 0.1;
  unit.friction = 167.0;
  return unit;
}

// Within the stated interval and `more` ms.
void check_dead_time(const ScoreResult& result, double truth, double more) {
  const auto f = finding_of(result, "dead_time");
  CAPTURE(f.reason);
  REQUIRE(f.value);
  CAPTURE(*f.value, *f.standard_uncertainty);
  CHECK((*f.interval)[0] - more <= truth);
  CHECK((*f.interval)[1] + more >= truth);
  CHECK(std::abs(*f.value - truth) < std::max(0.5, 3.0 * *f.standard_uncertainty));
}

TEST_CASE("dead time is found through play and friction, in steps, triangles and sines") {
  for (const auto& [name, motion] : {std::pair<std::string, Motion>{"steps", steps(40, 0.05, 1.0)},
                                     {"triangle", triangle(40, 80)},
                                     {"sine", sine(40, 1.0)}})
    for (const bool rough : {false, true}) {
      CAPTURE(name, rough);
      const auto c = record(rough ? real_unit() : SteeredUnit{}, motion, 6.0, hand_sensor(), road_sensor(), 11);
      check_dead_time(score("delay", c), 12.0, 0.1);
    }
}

TEST_CASE("the fitted model gives back the unit's own numbers") {
  auto c = record(real_unit(), steps(40, 0.05, 1.0), 8.0, hand_sensor(), road_sensor(), 3);
  set_cycles(c, "move", 4, 2.0);
  const auto result = score("delay", c);
  CHECK(value_of(result, "natural_frequency") == Approx(60.0).margin(0.5));
  CHECK(value_of(result, "damping") == Approx(0.8).margin(0.01));
  CHECK(value_of(result, "gain") == Approx(0.1).margin(0.0005));
  // A slow sweep shows play and twice the offset that friction holds: 0.1 + 2 * 167 / 60^2.
  CHECK(value_of(result, "lost_motion") == Approx(0.1928).margin(0.005));
  CHECK(value_of(result, "ramp_lag") == Approx(12.0 + 2e3 * 0.8 / 60.0).margin(0.1));
  CHECK(value_of(result, "residual") == Approx(0.002).margin(0.0002));
}

TEST_CASE("a dead time that is changed by 5 ms changes the finding by 5 ms, and nothing else") {
  const auto at = [](double dead_time) {
    SteeredUnit unit = real_unit();
    unit.dead_time = dead_time;
    auto c = record(unit, steps(40, 0.05, 1.0), 6.0, hand_sensor(), road_sensor(), 5);
    set_cycles(c, "move", 3, 2.0);
    return score("delay", c);
  };
  const auto before = at(0.012), after = at(0.017);
  CHECK(value_of(after, "dead_time") - value_of(before, "dead_time") == Approx(5.0).margin(0.15));
  CHECK(value_of(after, "ramp_lag") - value_of(before, "ramp_lag") == Approx(5.0).margin(0.15));
  CHECK(value_of(after, "correlation_lag") - value_of(before, "correlation_lag") == Approx(5.0).margin(0.05));
  CHECK(value_of(after, "damping") == Approx(value_of(before, "damping")).margin(0.01));
}

TEST_CASE("a first-order unit is told by its time constant") {
  SteeredUnit unit;
  unit.first_order = true;
  unit.natural = 40.0;  // 25 ms
  const auto c = record(unit, steps(40, 0.05, 1.0), 4.0, hand_sensor(), road_sensor(), 7);
  const auto result = score("delay", c, R"({"order": "first"})");
  CHECK(value_of(result, "dead_time") == Approx(12.0).margin(0.1));
  CHECK(value_of(result, "time_constant") == Approx(25.0).margin(0.1));
  CHECK_FALSE(finding_of(result, "natural_frequency").value);
}

TEST_CASE("an output that goes against its input has a negative gain and the same delay") {
  SteeredUnit unit;
  unit.ratio = -10.0;
  const auto c = record(unit, steps(40, 0.05, 1.0), 4.0, hand_sensor(), road_sensor(), 9);
  const auto result = score("delay", c);
  CHECK(value_of(result, "gain") == Approx(-0.1).margin(0.001));
  CHECK(value_of(result, "dead_time") == Approx(12.0).margin(0.1));
}

TEST_CASE("the delay of each sensor is taken out, and its uncertainty stands in the budget") {
  auto hand = hand_sensor(), road = road_sensor();
  hand.delay = hand.said_delay = 0.0005;
  hand.said_delay_u = 0.0002;
  road.delay = road.said_delay = 0.004;
  road.said_delay_u = 0.0003;
  const auto c = record(SteeredUnit{}, steps(40, 0.05, 1.0), 4.0, hand, road, 13);
  const auto f = finding_of(score("delay", c), "dead_time");
  REQUIRE(f.value);
  CHECK(*f.value == Approx(12.0).margin(0.1));
  CHECK(*f.standard_uncertainty == Approx(std::hypot(0.2, 0.3)).margin(0.01));
}

TEST_CASE("an uneven path to a clock counts whole, and cancels for two signals of one clock") {
  auto c = record(SteeredUnit{}, steps(40, 0.05, 1.0), 4.0, hand_sensor(), road_sensor(), 17);
  for (auto& info : c.infos) info.clock_asymmetry = from_seconds(0.001);
  const auto apart = finding_of(score("delay", c), "dead_time");
  CHECK(*apart.standard_uncertainty == Approx(std::sqrt(2.0 / 3.0)).margin(0.02));
  for (auto& info : c.infos) info.clock = "one";
  const auto together = finding_of(score("delay", c), "dead_time");
  CHECK(*together.standard_uncertainty < 0.05);
}

TEST_CASE("only two signals of the bench are end to end") {
  auto c = record(SteeredUnit{}, steps(40, 0.05, 1.0), 2.0, hand_sensor(), road_sensor(), 19);
  const auto told = [&] {
    for (const auto& [name, value] : finding_of(score("delay", c), "dead_time").conditions)
      if (name == "measured_between") return value;
    return std::string{};
  };
  CHECK(told() == "end to end");
  c.infos[1].bench_owned = false;
  CHECK(told() == "internal");
}

TEST_CASE("coarse resolution, jitter and drop-outs widen the interval and leave the truth in it") {
  auto hand = hand_sensor(), road = road_sensor();
  hand.resolution = 0.05;
  road.resolution = 0.02;
  road.noise = 0.0;
  hand.jitter = road.jitter = 0.0004;
  auto c = record(real_unit(), steps(40, 0.05, 1.0), 8.0, hand, road, 23);
  std::mt19937 random{23};
  for (auto& samples : c.samples) std::erase_if(samples, [&](const Point&) { return random() % 20 == 0; });
  check_dead_time(score("delay", c), 12.0, 0.1);
}

TEST_CASE("a correlation with a flat top has no lag: sweeps of a unit with much lost motion") {
  auto unit = real_unit();
  unit.play = 0.3;
  const auto c = record(unit, triangle(20, 60), 8.0, hand_sensor(), road_sensor(), 3);
  const auto f = finding_of(score("delay", c), "correlation_lag");
  CAPTURE(f.value.value_or(-1.0));
  CHECK_FALSE(f.value);
  CHECK(f.reason.find("equally alike") != std::string::npos);
  CHECK(finding_of(score("delay", c, R"({"correlate": "level"})"), "correlation_lag").value);
}

TEST_CASE("what play and friction leave open of the dead time stands in the budget") {
  // Few steps, so that the two splits explain the output about as well as each other.
  int told = 0;
  for (std::uint64_t seed = 77; seed < 81; ++seed) {
    const auto c = record(real_unit(), steps(40, 0.05, 1.0), 3.0, hand_sensor(), road_sensor(), seed);
    for (const auto& line : finding_of(score("delay", c), "dead_time").budget)
      if (line.name == "play and friction told apart" && line.standard_uncertainty > 0.0) ++told;
  }
  CHECK(told > 0);
}

TEST_CASE("a steady sine has too little bandwidth to tell dead time from slowness") {
  auto c = record(SteeredUnit{}, sine(40, 0.5), 10.0, hand_sensor(), road_sensor(), 29);
  c.all_spans = {{"move", 0, at(6.0), at(10.0), true}};
  const auto result = score("delay", c);
  const auto f = finding_of(result, "dead_time");
  CAPTURE(f.reason);
  CHECK_FALSE(f.value);
  CHECK(f.reason.find("bandwidth") != std::string::npos);
  CHECK(finding_of(result, "correlation_lag").value);
}

TEST_CASE("a unit at its rate limit is not described by the model, and no number is given") {
  // An output that follows at no more than 10 deg/s.
  auto c = record(SteeredUnit{}, steps(40, 0.02, 1.0), 4.0, hand_sensor(), road_sensor(), 31);
  double y = 0.0;
  std::size_t k = 0;
  for (auto& p : c.samples[1]) {
    while (k + 1 < c.samples[0].size() && c.samples[0][k].when < p.when) ++k;
    y += std::clamp(c.samples[0][k].value / 10.0 - y, -0.010, 0.010);
    p.value = y + (static_cast<double>(k % 3) - 1.0) * 0.002;
  }
  const auto f = finding_of(score("delay", c), "dead_time");
  CAPTURE(f.reason, f.value.value_or(-1));
  CHECK_FALSE(f.value);
  CHECK(f.reason.find("does not describe") != std::string::npos);
}

TEST_CASE("a unit just at its rate limit looks good to the eye; what the misfit may hide stands in the interval") {
  const auto limited = [](const Motion& motion, double most) {  // deg a sample, behind the true answer
    auto c = record(SteeredUnit{}, motion, 4.0, hand_sensor(), Sensor{}, 31);
    std::mt19937_64 random{3};
    std::normal_distribution<double> noise{0.0, 0.002};
    double y = 0.0;
    for (auto& p : c.samples[1]) {
      y += std::clamp(p.value - y, -most, most);
      p.value = y + noise(random);
    }
    return finding_of(score("delay", c), "dead_time");
  };
  int told = 0;
  for (const auto& f :
       {limited(steps(40, 0.05, 1.0), 0.02), limited(steps(40, 0.05, 1.0), 0.04), limited(steps(40, 0.05, 1.0), 0.05),
        limited(triangle(20, 120), 0.009), limited(triangle(20, 120), 0.0115), limited(triangle(20, 120), 0.012)}) {
    CAPTURE(f.reason, f.value.value_or(-1.0), f.standard_uncertainty.value_or(-1.0));
    if (!f.value) continue;
    ++told;
    CHECK(std::abs(*f.value - 12.0) < 2.2 * *f.standard_uncertainty);
    CHECK(*f.standard_uncertainty > 1.0);
  }
  CHECK(told > 0);
  CHECK(*limited(triangle(20, 120), 0.0125).standard_uncertainty < 0.1);  // never at the limit
}

TEST_CASE("signals in each other's place are found out: the output would come before its input") {
  auto c = record(real_unit(), triangle(20, 120), 4.0, hand_sensor(), road_sensor(), 1);
  std::swap(c.samples[0], c.samples[1]);
  for (const auto* name : {"dead_time", "correlation_lag"}) {
    const auto f = finding_of(score("delay", c), name);
    CAPTURE(name, f.reason);
    CHECK_FALSE(f.value);
  }
}

TEST_CASE("100 ms without samples, of either signal or both, on a flank or over a reversal, cost precision only",
          "[many]") {
  for (const double from : {0.6, 0.78, 1.0, 1.12, 2.0})
    for (const int lost : {1, 2, 3}) {  // bit by signal
      CAPTURE(from, lost);
      const auto without = [&](const SteeredUnit& unit) {
        auto c = record(unit, triangle(20, 120), 4.0, hand_sensor(), road_sensor(), 1);
        for (std::size_t k = 0; k < 2; ++k)
          if (lost & (1 << k))
            std::erase_if(c.samples[k], [&](const Point& p) { return p.when > at(from) && p.when < at(from + 0.1); });
        return score("delay", c);
      };
      check_dead_time(without(real_unit()), 12.0, 0.1);
      // Correlation takes the longest part without a gap, and says so.
      const auto f = finding_of(without(SteeredUnit{}), "correlation_lag");
      REQUIRE(f.value);
      CHECK(*f.value == Approx(37.2).margin(0.3));  // as without a gap
      CHECK(f.conditions.back().first == "compared");
    }
}

TEST_CASE("100 ms of one frozen value, of either signal, fine or coarse, is no measurement") {
  for (const std::size_t which : {0, 1})
    for (const bool coarse : {false, true}) {
      CAPTURE(which, coarse);
      auto hand = hand_sensor(), road = road_sensor();
      if (coarse) hand.noise = road.noise = 0.0, hand.resolution = 0.2, road.resolution = 0.02;
      auto c = record(real_unit(), triangle(20, 120), 4.0, hand, road, 1);
      double last = 0.0;
      for (auto& p : c.samples[which]) p.value = last = p.when > at(1.0) && p.when < at(1.1) ? last : p.value;
      check_all_empty(score("delay", c), "frozen");
    }
}

TEST_CASE("the correlation lag scatters from capture to capture by what its uncertainty says", "[many]") {
  std::vector<double> lags;
  double stated = 0.0;
  constexpr int captures = 40;
  for (std::uint64_t seed = 0; seed < captures; ++seed) {
    auto hand = hand_sensor(), road = road_sensor();
    hand.noise = 0.05;
    road.noise = 0.02;
    const auto f =
        finding_of(score("delay", record(SteeredUnit{}, sine(40, 1.0), 2.0, hand, road, seed)), "correlation_lag");
    REQUIRE(f.value);
    lags.push_back(*f.value);
    stated += *f.standard_uncertainty / captures;  // sensors and clocks of this rig add nothing
  }
  double mean = 0.0, square = 0.0;
  for (const double v : lags) mean += v / captures;
  for (const double v : lags) square += (v - mean) * (v - mean) / (captures - 1);
  CAPTURE(stated, std::sqrt(square));
  CHECK(std::sqrt(square) / stated > 0.65);  // 40 captures: within a third, 99.9 %
  CHECK(std::sqrt(square) / stated < 1.4);
}

TEST_CASE("no motion, a frozen, a saturated or a silent signal give a reason, never a number") {
  const auto still = [](double) { return 0.0; };
  check_all_empty(score("delay", record(SteeredUnit{}, still, 3.0, hand_sensor(), road_sensor(), 1)), "no motion");

  auto c = record(SteeredUnit{}, steps(40, 0.05, 1.0), 3.0, hand_sensor(), road_sensor(), 1);
  for (auto& p : c.samples[1]) p.value = 1.25;
  check_all_empty(score("delay", c), "did not change");

  c = record(SteeredUnit{}, sine(40, 1.0), 3.0, hand_sensor(), road_sensor(), 1);
  double last = 0.0;
  for (auto& p : c.samples[1]) p.value = last = p.when > at(1.0) && p.when < at(1.6) ? last : p.value;
  check_all_empty(score("delay", c), "frozen");

  auto clipped = road_sensor();
  clipped.low = -2.0, clipped.high = 2.0;
  check_all_empty(score("delay", record(SteeredUnit{}, sine(40, 1.0), 3.0, hand_sensor(), clipped, 1)), "saturated");

  c = record(SteeredUnit{}, sine(40, 1.0), 3.0, hand_sensor(), road_sensor(), 1);
  c.samples[1].clear();
  check_all_empty(score("delay", c), "too few");
  c = record(SteeredUnit{}, sine(40, 1.0), 3.0, hand_sensor(), road_sensor(), 1);
  for (auto& p : c.samples[1]) p.value = std::nan("");
  check_all_empty(score("delay", c), "no value");
  c.all_spans.clear();
  const auto nothing = score("delay", c);
  check_all_empty(nothing, "no complete step");
  CHECK(nothing.findings.front().verdict == Verdict::not_run);
}

TEST_CASE("a delay shorter than the run can tell is below resolution") {
  SteeredUnit unit;
  unit.dead_time = 0.0;
  unit.natural = 900.0;
  auto c = record(unit, steps(40, 0.05, 1.0), 3.0, hand_sensor(), road_sensor(), 1);
  c.quality.late_p99 = from_seconds(0.006);
  const auto f = finding_of(score("delay", c), "correlation_lag");
  CHECK_FALSE(f.value);
  CHECK(f.reason.find("below resolution") != std::string::npos);
  CHECK(f.verdict == Verdict::inconclusive);
}

TEST_CASE("one passage is drawn closely, with dead time and lag marked and their intervals") {
  const auto result = score("delay", record(real_unit(), triangle(40, 80), 6.0, hand_sensor(), road_sensor(), 1));
  check_marked(result, "dead time", finding_of(result, "dead_time"));
  check_marked(result, "lag on a ramp", finding_of(result, "ramp_lag"));
}

}  // namespace
}  // namespace trackrod::test
