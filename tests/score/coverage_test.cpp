// The honesty of the stated intervals, in small: of 300 captures with random truth, how many intervals hold it. The
// noise, jitter and delays of the sensors are drawn afresh for each capture and are not told to the scores beyond what
// a bench file would say. Limits: a method with 93 to 97 % coverage passes 99.9 % of the time (binomial, n = 300, lower
// limit 265).

#include "tests/score/rig.hpp"

namespace trackrod::test {
namespace {

constexpr int captures = 300;
constexpr int fewest_hits = 265;
constexpr double most_refused = 0.02;

struct Draw {
  std::mt19937_64 random;
  double even(double low, double high) { return std::uniform_real_distribution<double>{low, high}(random); }
  double normal(double mean, double sd) { return std::normal_distribution<double>{mean, sd}(random); }

  Sensor sensor(double noise) {
    Sensor s;
    s.noise = noise * even(0.5, 2.0);
    s.resolution = even(0.0, 1.0) < 0.5 ? 0.0 : s.noise * even(0.2, 1.5);
    s.phase = even(0.0, 0.001);
    s.said_delay = even(0.0, 0.002);
    s.said_delay_u = even(0.00002, 0.0002);
    s.delay = normal(s.said_delay, s.said_delay_u);
    return s;
  }
  SteeredUnit unit() {
    SteeredUnit u;
    u.dead_time = even(0.005, 0.03);
    u.natural = even(40.0, 90.0);
    u.damping = even(0.6, 1.1);
    u.play = even(0.03, 0.2);
    u.ratio = even(8.0, 14.0);
    return u;
  }
};

struct Tally {
  int hits{0}, refused{0}, below{0}, above{0};
  void add(const Finding& f, double truth) {
    if (!f.value) return void(++refused);
    if (truth < (*f.interval)[0])
      ++below;
    else if (truth > (*f.interval)[1])
      ++above;
    else
      ++hits;
  }
  void check() const {
    CAPTURE(hits, refused, below, above);
    CHECK(refused <= most_refused * captures);
    CHECK(hits >= fewest_hits * (captures - refused) / captures);
    CHECK(hits < captures - refused);  // an interval that never misses is too wide to be a 95 % one
  }
};

TEST_CASE("dead time: 95 % intervals hold the truth in about 95 of 100 captures") {
  const std::uint64_t seed = 20260101;
  CAPTURE(seed);
  Draw draw{std::mt19937_64{seed}};
  Tally tally;
  for (int i = 0; i < captures; ++i) {
    const auto unit = draw.unit();
    const auto hand = draw.sensor(0.005), road = draw.sensor(0.002);
    auto c = record(unit, steps(draw.even(30, 80), draw.even(0.1, 0.15), 0.8), 3.2, hand, road, draw.random());
    set_cycles(c, "move", 2, 1.6);
    tally.add(finding_of(score("delay", c), "dead_time"), 1e3 * unit.dead_time);
  }
  tally.check();
}

TEST_CASE("skew: 95 % intervals hold the truth in about 95 of 100 captures") {
  const std::uint64_t seed = 20260108;
  CAPTURE(seed);
  Draw draw{std::mt19937_64{seed}};
  Tally tally;
  for (int i = 0; i < captures; ++i) {
    auto hand = draw.sensor(0.005), road = draw.sensor(0.005);
    road.delay = draw.even(-0.02, 0.02);
    if (draw.even(0.0, 1.0) < 0.5) road.interval = 0.002;
    auto c = record_two(steps(draw.even(30, 80), draw.even(0.1, 0.15), 0.8), draw.even(0.2, 1.5), 3.2, hand, road,
                        draw.random());
    set_cycles(c, "move", 2, 1.6);
    tally.add(finding_of(score("skew", c), "skew"), 1e3 * (road.delay - hand.delay));
  }
  tally.check();
}

TEST_CASE("delay to 50 %: 95 % intervals hold the truth in about 95 of 100 captures") {
  const std::uint64_t seed = 20260102;
  CAPTURE(seed);
  Draw draw{std::mt19937_64{seed}};
  Tally tally;
  for (int i = 0; i < captures; ++i) {
    auto unit = draw.unit();
    unit.play = 0.0;
    const auto hand = draw.sensor(0.02), road = draw.sensor(0.01);
    const double rise = draw.even(0.02, 0.1);
    const auto motion = steps(draw.even(30, 80), rise, 0.8);
    auto c = record(unit, motion, 3.2, hand, road, draw.random());
    set_cycles(c, "move", 4, 0.8);
    // Truth: the 50 % instant of the noise-free answer to the first step.
    const auto response = simulate(unit, motion, 0.8);
    const double half = 0.5 * (response[0] + response[response.size() - 10]);
    std::size_t k = 1;
    while ((response[k] - half) * (response[0] - half) > 0.0) ++k;
    const double part = (half - response[k - 1]) / (response[k] - response[k - 1]);
    const double truth = 25e-6 * (static_cast<double>(k - 1) + part) - 1.0 - 0.3 - 0.5 * rise;
    tally.add(finding_of(score("step", c), "delay_50"), 1e3 * truth);
  }
  tally.check();
}

TEST_CASE("corrected width: 95 % intervals hold the truth in about 95 of 100 captures") {
  const std::uint64_t seed = 20260103;
  CAPTURE(seed);
  Draw draw{std::mt19937_64{seed}};
  Tally corrected, apparent;
  for (int i = 0; i < captures; ++i) {
    const auto unit = draw.unit();
    const auto hand = draw.sensor(0.02), road = draw.sensor(0.01);
    const std::vector<double> rates{25, 40, 65};  // one sweep and a half each
    const auto motion = [&](double t) {
      return t < 7.2 ? triangle(30, 25)(t) : t < 11.7 ? triangle(30, 40)(t - 7.2 + 1.5) : triangle(30, 65)(t - 11.7);
    };
    auto c = record(unit, motion, 14.45, hand, road, draw.random());
    c.all_spans = {{"slow", 0, at(0), at(7.2)}, {"mid", 0, at(7.2), at(11.7)}, {"fast", 0, at(11.7), at(14.45)}};
    const auto result = score("hysteresis", c);
    corrected.add(finding_of(result, "width_corrected"), unit.play);
    const double ramp_lag = unit.dead_time + 2.0 * unit.damping / unit.natural;
    apparent.add(finding_of(result, "width_apparent"), unit.play + 2.0 * rates[0] / unit.ratio * ramp_lag);
  }
  corrected.check();
  apparent.check();
}

TEST_CASE("ratio: 95 % intervals hold the truth in about 95 of 100 captures, at the centre and where it is least") {
  const std::uint64_t seed = 20260104;
  CAPTURE(seed);
  Draw draw{std::mt19937_64{seed}};
  Tally centre, least, unevenness;
  for (int i = 0; i < captures; ++i) {
    auto unit = draw.unit();
    // The ratio falls from `ratio` at the centre: y = x / ratio + bend x^3.
    const double ratio = unit.ratio, bend = draw.even(2e-6, 2e-5);
    unit.law = [=](double x) { return x / ratio + bend * x * x * x; };
    auto hand = draw.sensor(0.02), road = draw.sensor(0.01);
    const double hand_gain = 1.0 + draw.normal(0.0, 0.0005), road_gain = 1.0 + draw.normal(0.0, 0.0005);
    auto c = record(unit, triangle(30, 40), 6.2, hand, road, draw.random());
    for (auto& p : c.samples[0]) p.value *= hand_gain;
    for (auto& p : c.samples[1]) p.value *= road_gain;
    for (auto& info : c.infos) info.calibration.gain_uncertainty = 0.0005;
    const auto result = score("ratio", c);
    const auto over = [&](double from, double to) { return (to - from) / (unit.law(to) - unit.law(from)); };
    const double stretch = 48.0 / 9.0;  // 80 % of 60 deg
    centre.add(finding_of(result, "centre"), over(-0.5 * stretch, 0.5 * stretch));
    least.add(finding_of(result, "least"), over(24.0 - stretch, 24.0));
    const double last = over(24.0 - stretch, 24.0), before = over(24.0 - 2.0 * stretch, 24.0 - stretch);
    unevenness.add(finding_of(result, "unevenness"), 200.0 * std::abs((last - before) / (last + before)));
  }
  centre.check();
  least.check();
  unevenness.check();
}

}  // namespace
}  // namespace trackrod::test
