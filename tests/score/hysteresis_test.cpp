// The score `hysteresis` on a rig that is known exactly.

#include <fstream>
#include <nlohmann/json.hpp>

#include "harness/score/rate_groups.hpp"
#include "tests/score/drawn.hpp"
#include "tests/score/rig.hpp"

namespace trackrod::test {
namespace {

Sensor sensor(double noise, double phase) {
  Sensor s;
  s.noise = noise;
  s.phase = phase;
  return s;
}

// Sweeps between -amplitude and amplitude (deg), each rate a step of its own with `cycles` full sweeps.
KnownCapture swept(const SteeredUnit& unit, const std::vector<double>& rates, double cycles, std::uint64_t seed,
                   const Sensor& hand = sensor(0.005, 0.0003), const Sensor& road = sensor(0.002, 0.0007),
                   double amplitude = 30.0) {
  std::vector<double> starts{0.0};
  for (const double rate : rates) starts.push_back(starts.back() + cycles * 4.0 * amplitude / rate);
  const auto motion = [=](double t) {
    for (std::size_t i = rates.size(); i-- > 0;)
      if (t >= starts[i]) return triangle(amplitude, rates[i])(t - starts[i]);
    return 0.0;
  };
  auto c = record(unit, motion, starts.back(), hand, road, seed);
  c.all_spans.clear();
  for (std::size_t i = 0; i < rates.size(); ++i)
    c.all_spans.push_back({"sweep_" + std::to_string(i), 0, at(starts[i]), at(starts[i + 1]), true});
  return c;
}
SteeredUnit gapped() {
  SteeredUnit unit;
  unit.play = 0.1;
  return unit;
}
constexpr double lag = 0.012 + 2.0 * 0.8 / 60.0;  // s, on a ramp

TEST_CASE("the width at each rate holds the gap and twice rate times lag; three rates take the lag out") {
  const auto c = swept(gapped(), {20, 40, 80}, 3.0, 1);
  const auto result = score("hysteresis", c);
  int seen = 0;
  for (const auto& f : result.findings) {
    if (f.name != "hysteresis.width_apparent") continue;
    REQUIRE(f.value);
    const double rate = std::vector<double>{20, 40, 80}[static_cast<std::size_t>(seen++)];
    CHECK(*f.value == Approx(0.1 + 2.0 * rate / 10.0 * lag).margin(0.002));
  }
  CHECK(seen == 3);
  CHECK(value_of(result, "width_corrected") == Approx(0.1).margin(0.003));
  CHECK(value_of(result, "width_corrected_input") == Approx(1.0).margin(0.03));
  CHECK(value_of(result, "lag") == Approx(1e3 * lag).margin(0.3));
  CHECK(value_of(result, "linearity") < 0.1);
  CHECK(value_of(result, "repeatability") < 0.5);
}

TEST_CASE("the sweeps of the shipped plans are wide enough for lags from 40 to 130 ms") {
  for (const auto* plan : {"on-centre.json", "acceptance.json"}) {
    std::ifstream file{std::string{TRACKROD_SOURCE_DIR} + "/plans/" + plan};
    const auto json = nlohmann::json::parse(file, nullptr, true, true);
    std::vector<double> rates;
    for (const auto& step : json.at("steps"))
      if (step.value("name", "").starts_with("sweep_")) rates.push_back(std::stod(step.at("rate").get<std::string>()));
    REQUIRE(rates.size() == 3);
    const double amplitude = std::stod(json.at("variables").at("amplitude").get<std::string>());
    for (const double dead_time : {0.012, 0.04, 0.08, 0.1}) {
      CAPTURE(plan, dead_time);
      auto unit = gapped();
      unit.dead_time = dead_time;
      const auto result =
          score("hysteresis", swept(unit, rates, 2.0, 1, sensor(0.005, 0.0003), sensor(0.002, 0.0007), amplitude));
      CHECK(value_of(result, "width_corrected") == Approx(0.1).margin(0.003));
      CHECK(value_of(result, "lag") == Approx(1e3 * (lag - 0.012 + dead_time)).margin(0.3));
    }
  }
}

TEST_CASE("sweeps too narrow for the lag are told so, and what to do") {
  auto unit = gapped();
  unit.dead_time = 0.2;
  const auto f = finding_of(
      score("hysteresis", swept(unit, {15, 30, 60}, 2.0, 1, sensor(0.005, 0.0003), sensor(0.002, 0.0007), 20.0)),
      "width_corrected");
  CAPTURE(f.value.value_or(-1.0), f.reason);
  CHECK_FALSE(f.value);
  CHECK(f.reason.find("only at 1 of 3 rates") != std::string::npos);
  CHECK(f.reason.find("sweep wider") != std::string::npos);
}

TEST_CASE("friction counts as hysteresis, lag does not") {
  auto unit = gapped();
  unit.friction = 167.0;
  const auto result = score("hysteresis", swept(unit, {20, 40, 80}, 2.0, 2));
  CHECK(value_of(result, "width_corrected") == Approx(0.1 + 2.0 * 167.0 / 3600.0).margin(0.003));
}

TEST_CASE("fewer than three rates give the widths and no corrected one") {
  const auto result = score("hysteresis", swept(gapped(), {20, 40}, 2.0, 3));
  CHECK(value_of(result, "width_apparent") > 0.1);
  const auto f = finding_of(result, "width_corrected");
  CHECK_FALSE(f.value);
  CHECK(f.reason.find("three rates") != std::string::npos);
}

TEST_CASE("a width that does not grow in a line with the rate is not corrected") {
  // Three recordings whose gap is another one at each rate: 0.1, 0.4, 0.1 deg.
  auto all = swept(gapped(), {20, 40, 80}, 2.0, 4);
  SteeredUnit wide;
  wide.play = 0.4;
  const auto other = swept(wide, {20, 40, 80}, 2.0, 4);
  const auto middle = all.all_spans[1];
  for (std::size_t i = 0; i < all.samples[1].size(); ++i)
    if (all.samples[1][i].when >= middle.from && all.samples[1][i].when < middle.to)
      all.samples[1][i] = other.samples[1][i];
  const auto f = finding_of(score("hysteresis", all), "width_corrected");
  CAPTURE(f.value.value_or(-1.0));
  CHECK_FALSE(f.value);
  CHECK(f.reason.find("straight line") != std::string::npos);
}

TEST_CASE("an error in the sensors' time moves the lag and leaves the corrected width alone") {
  auto road = sensor(0.002, 0.0007);
  road.delay = 0.003;  // and the bench says 0
  const auto skewed = score("hysteresis", swept(gapped(), {20, 40, 80}, 2.0, 5, sensor(0.005, 0.0003), road));
  CHECK(value_of(skewed, "width_corrected") == Approx(0.1).margin(0.003));
  CHECK(value_of(skewed, "lag") == Approx(1e3 * lag + 3.0).margin(0.3));
}

TEST_CASE("an output that goes against its input has the same positive width") {
  auto unit = gapped();
  unit.ratio = -10.0;
  const auto result = score("hysteresis", swept(unit, {20, 40, 80}, 2.0, 6));
  CHECK(value_of(result, "width_corrected") == Approx(0.1).margin(0.003));
}

TEST_CASE("a coarse sensor without noise widens the interval, and the truth stays in it") {
  auto road = sensor(0.0, 0.0007);
  road.resolution = 0.02;
  const auto result = score("hysteresis", swept(gapped(), {20, 40, 80}, 2.0, 7, sensor(0.005, 0.0003), road));
  const auto f = finding_of(result, "width_corrected");
  REQUIRE(f.value);
  CAPTURE(*f.value, (*f.interval)[0], (*f.interval)[1]);
  CHECK((*f.interval)[0] <= 0.1);
  CHECK((*f.interval)[1] >= 0.1);
}

TEST_CASE("a direction read once has the repeatability of those that were read more often") {
  std::vector<RateGroup> groups(2);
  groups[0].centre.rising = repeated({1.0}, {0.001});
  groups[0].centre.falling = repeated({1.2, 1.206, 1.200, 1.202}, {0.0, 0.0, 0.0, 0.0});
  groups[1].centre.rising = repeated({3.0, 3.004}, {0.0, 0.0});
  groups[1].centre.falling = repeated({3.5, 3.5}, {0.0, 0.0});
  for (auto& group : groups) group.centre.known = true;
  lend_repeatability(groups);
  // Squares about the means, 24e-6, 8e-6 and 0, over 3 + 1 + 1 degrees of freedom.
  const auto& lent = groups[0].centre.rising.budget.back();
  CHECK(lent.name == "repeatability, as at the other rates");
  CHECK(lent.standard_uncertainty == Approx(std::sqrt(32e-6 / 5.0)));
  CHECK(lent.degrees_of_freedom == 5.0);
  CHECK(groups[0].centre.u == Approx(std::sqrt(1e-6 + 32e-6 / 5.0 + 24e-6 / 3.0 / 4.0)));
  CHECK(groups[1].centre.rising.budget.size() == 2);
}

TEST_CASE("the greatest of many equal noisy widths is not reported too high") {
  double sum = 0.0;
  constexpr int runs = 12;
  for (std::uint64_t seed = 0; seed < runs; ++seed) {
    const auto c = swept(gapped(), {80}, 2.0, 100 + seed, sensor(0.05, 0.0003), sensor(0.02, 0.0007));
    sum += value_of(score("hysteresis", c, R"({"window": "2 %"})"), "width_greatest") / runs;
  }
  CHECK(sum == Approx(0.1 + 2.0 * 8.0 * lag).margin(0.006));
}

TEST_CASE("input and output in each other's place are found out, not reported as a small width") {
  auto c = swept(gapped(), {20, 40, 80}, 2.0, 8);
  std::swap(c.samples[0], c.samples[1]);
  const auto result = score("hysteresis", c);
  for (const auto* name : {"width_apparent", "width_greatest", "width_corrected", "lag"}) {
    const auto f = finding_of(result, name);
    CAPTURE(name, f.value.value_or(0.0));
    CHECK_FALSE(f.value);
    CHECK(f.reason.find("backwards") != std::string::npos);
  }
}

TEST_CASE("100 ms without samples, at the centre or at a reversal, leave the width right or unsaid") {
  for (const std::size_t which : {0, 1})
    for (const double from : {2.95, 5.95, 7.45, 8.95, 13.45, 19.45}) {
      CAPTURE(which, from);
      auto c = swept(gapped(), {20, 40, 80}, 2.0, 9);
      std::erase_if(c.samples[which], [&](const Point& p) { return p.when > at(from) && p.when < at(from + 0.1); });
      const auto f = finding_of(score("hysteresis", c), "width_corrected");
      if (!f.value) CHECK(f.reason.find("of 3 rates") != std::string::npos);
      if (f.value) CHECK(*f.value == Approx(0.1).margin(0.003));
    }
}

TEST_CASE("a sweep in which a sensor froze for 100 ms, fine or coarse, or nothing moved, is left out and told") {
  const auto damaged = [](const Sensor& hand, const Sensor& road, const std::function<void(KnownCapture&)>& damage) {
    auto c = swept(gapped(), {20, 40, 80}, 2.0, 10, hand, road);
    damage(c);
    return finding_of(score("hysteresis", c), "width_corrected");
  };
  const auto check = [](const Finding& f) {
    CAPTURE(f.reason, f.value.value_or(-1.0));
    CHECK_FALSE(f.value);
    CHECK(f.reason.find("left out") != std::string::npos);
  };
  auto coarse_hand = sensor(0.0, 0.0003), coarse_road = sensor(0.0, 0.0007);
  coarse_hand.resolution = 0.1, coarse_road.resolution = 0.02;
  for (const std::size_t which : {0, 1})
    for (const double from : {5.95, 7.4, 8.95, 13.45}) {
      CAPTURE(which, from);
      const auto freeze = [&](KnownCapture& c) {
        double last = 0.0;
        for (auto& p : c.samples[which]) p.value = last = p.when > at(from) && p.when < at(from + 0.1) ? last : p.value;
      };
      check(damaged(sensor(0.005, 0.0003), sensor(0.002, 0.0007), freeze));
      check(damaged(coarse_hand, coarse_road, freeze));
    }
  check(damaged(sensor(0.005, 0.0003), sensor(0.002, 0.0007), [](KnownCapture& c) {
    std::mt19937_64 random{1};
    std::normal_distribution<double> noise{0.0, 0.003};
    const auto middle = c.all_spans[1];
    for (auto& samples : c.samples)
      for (auto& p : samples)
        if (p.when >= middle.from && p.when < middle.to) p.value = noise(random);
  }));
  // At a limit that the bench file does not know: the noise is missing.
  const auto clipped = damaged(sensor(0.005, 0.0003), sensor(0.002, 0.0007), [](KnownCapture& c) {
    for (auto& p : c.samples[1]) p.value = std::min(p.value, 2.5);
  });
  CHECK_FALSE(clipped.value);
  CHECK(clipped.reason.find("at its limit") != std::string::npos);
}

TEST_CASE("no motion, no reversal, and frozen or saturated signals give reasons") {
  auto c = record(
      gapped(), [](double) { return 0.0; }, 2.0, sensor(0.005, 0), sensor(0.002, 0), 1);
  check_all_empty(score("hysteresis", c), "no motion");
  c = record(
      gapped(), [](double t) { return 10.0 * std::max(0.0, t); }, 2.0, sensor(0.005, 0), sensor(0.002, 0), 1);
  for (const auto& f : score("hysteresis", c).findings) {
    CAPTURE(f.name);
    CHECK_FALSE(f.value);
  }
  c = swept(gapped(), {40}, 2.0, 1);
  for (auto& p : c.samples[1]) p.value = 0.5;
  check_all_empty(score("hysteresis", c), "did not change");
  auto clipped = sensor(0.002, 0);
  clipped.low = -1.0, clipped.high = 1.0;
  check_all_empty(score("hysteresis", swept(gapped(), {40}, 2.0, 1, sensor(0.005, 0), clipped)), "saturated");
}

TEST_CASE("the width at each rate and the width without lag are drawn with their intervals") {
  const auto result = score("hysteresis", swept(gapped(), {20, 40, 80}, 3.0, 1));
  for (const auto& f : result.findings)
    if (f.name == "hysteresis.width_apparent" || f.name == "hysteresis.width_corrected") check_drawn(result, f);
}

}  // namespace
}  // namespace trackrod::test
