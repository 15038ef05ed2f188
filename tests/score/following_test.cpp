// The score `following` on an output in closed form: it goes at the rate that the input asks, dead time later, or at
// its own limit when that is lower.

#include "tests/score/rig.hpp"

namespace trackrod::test {
namespace {

struct Follower {
  double limit{40.0}, ratio{10.0}, dead_time{0.01};  // output unit/s, 1, s
};

// Three sweeps and a half at each rate, from 0 on, with a pause of 0.5 s between.
KnownCapture swept(const Follower& unit, const std::vector<double>& rates, std::uint64_t seed, double size = 60.0,
                   double out_noise = 0.005) {
  std::vector<double> starts;
  double length = 0.0;
  for (const double rate : rates) {
    starts.push_back(length);
    length += 3.5 * 4.0 * size / rate + 0.5;
  }
  const auto hand = [&](double t) {
    for (std::size_t i = rates.size(); i-- > 0;)
      if (t >= starts[i]) {
        const double since = std::min(t - starts[i], 3.5 * 4.0 * size / rates[i]);
        return triangle(size, rates[i])(since);
      }
    return 0.0;
  };
  std::vector<double> road;
  constexpr double dt = 1e-4;
  double y = 0.0;
  for (double t = 0.0; t < length + 0.1; t += dt) {
    road.push_back(y);
    y += std::clamp(hand(t + dt - unit.dead_time) / unit.ratio - y, -unit.limit * dt, unit.limit * dt);
  }
  const auto output = [&](double t) {
    const double place = std::clamp(t / dt, 0.0, static_cast<double>(road.size() - 2));
    const auto i = static_cast<std::size_t>(place);
    return road[i] + (place - static_cast<double>(i)) * (road[i + 1] - road[i]);
  };
  std::mt19937_64 random{seed};
  Sensor in, out;
  in.noise = 0.01, in.phase = 0.0003;
  out.noise = out_noise, out.phase = 0.0007;
  KnownCapture c;
  c.infos = {info_of(in, "hand", "hand"), info_of(out, "road", "road")};
  c.samples = {sense(in, hand, length, random), sense(out, output, length, random)};
  c.first = at(-0.95), c.last = at(length);
  for (std::size_t i = 0; i < rates.size(); ++i)
    c.all_spans.push_back(
        {"rate_" + std::to_string(i), 0, at(starts[i]), at((i + 1 < rates.size() ? starts[i + 1] : length)), true});
  return c;
}

TEST_CASE("rates up to the limit are followed, and beyond it the output stays at the limit") {
  const auto result = score("following", swept({}, {50, 100, 200, 500, 800}, 1));
  CHECK(value_of(result, "rate_limit") == Approx(40.0).epsilon(0.01));
  CHECK(value_of(result, "followed_rate") == Approx(400.0).epsilon(0.01));
  std::vector<double> shares;
  for (const auto& f : result.findings)
    if (f.name == "following.share") shares.push_back(*f.value);
  REQUIRE(shares.size() == 5);
  for (std::size_t i = 0; i < 3; ++i) CHECK(shares[i] == Approx(100.0).margin(1.0));
  CHECK(shares[3] == Approx(80.0).margin(1.5));
  CHECK(shares[4] == Approx(50.0).margin(1.5));
}

TEST_CASE("an output that keeps up is behind by rate times dead time over ratio") {
  const auto result = score("following", swept({1000.0, 10.0, 0.02}, {50, 100, 200}, 2));
  std::vector<double> errors;
  for (const auto& f : result.findings)
    if (f.name == "following.error") errors.push_back(*f.value);
  REQUIRE(errors.size() == 3);
  CHECK(errors[1] == Approx(100.0 / 10.0 * 0.02).margin(0.03));
  CHECK(errors[2] == Approx(200.0 / 10.0 * 0.02).margin(0.03));
  // No limit was met, so there is none, and the greatest rate is the last one tried, said to be no more than that.
  CHECK_FALSE(finding_of(result, "rate_limit").value);
  const auto followed = finding_of(result, "followed_rate");
  REQUIRE(followed.value);
  CHECK(*followed.value == Approx(200.0).epsilon(0.01));
  CHECK(std::any_of(followed.conditions.begin(), followed.conditions.end(),
                    [](const auto& said) { return said.first == "all"; }));
}

TEST_CASE("an output that goes the other way is followed as well") {
  const auto result = score("following", swept({40.0, -10.0, 0.01}, {50, 200, 800}, 3));
  CHECK(value_of(result, "rate_limit") == Approx(40.0).epsilon(0.01));
}

TEST_CASE("one rate, no motion, nothing at all: each is told") {
  check_all_empty(score("following", swept({}, {100}, 4)), "two steps or more");
  auto c = swept({}, {50, 100}, 4);
  for (auto& p : c.samples[1]) p.value = 0.0;
  check_all_empty(score("following", c), "did not change");
  c.all_spans.clear();
  for (const auto& f : score("following", c).findings) CHECK(f.verdict == Verdict::not_run);
}

TEST_CASE("95 % intervals hold the limit of rate in about 95 of 100 captures") {
  // Limits: a method with 93 to 97 % coverage passes 99.9 % of the time (binomial, n = 300, lower limit 265).
  const std::uint64_t seed = 20260111;
  CAPTURE(seed);
  std::mt19937_64 random{seed};
  std::uniform_real_distribution<double> even;
  std::normal_distribution<double> normal;
  constexpr int captures = 300;
  int limit = 0;
  for (int n = 0; n < captures; ++n) {
    const Follower unit{20.0 + 20.0 * even(random), 8.0 + 4.0 * even(random), 0.02 * even(random)};
    auto c = swept(unit, {100, 800}, random(), 60.0, 0.002 + 0.01 * even(random));
    const double gain = 1.0 + 0.001 * normal(random);
    for (auto& p : c.samples[1]) p.value *= gain;
    c.infos[1].calibration.gain_uncertainty = 0.001;
    const auto f = finding_of(score("following", c), "rate_limit");
    CAPTURE(f.reason);
    REQUIRE(f.interval);
    limit += unit.limit >= (*f.interval)[0] && unit.limit <= (*f.interval)[1];
  }
  CAPTURE(limit);
  CHECK(limit >= 265);
}

}  // namespace
}  // namespace trackrod::test
