// The lag model by itself: that it moves smoothly with its parameters, which is what a fit lives on.

#include "harness/score/lag_slope.hpp"
#include "tests/score/rig.hpp"

namespace trackrod::test {
namespace {

using P = LagParameter;

// A triangle whose corners lie between grid points, with noise if asked.
Stretch weave(double noise, std::uint64_t seed) {
  std::mt19937_64 random{seed};
  std::normal_distribution<double> normal;
  const auto motion = triangle(20.0, 117.3);
  Stretch s;
  s.start = -0.5;
  s.dt = 0.001;
  for (int i = 0; i < 2500; ++i) s.input.push_back(motion(s.start + s.dt * i) + noise * normal(random));
  for (int i = 0; i < 1900; ++i) s.t.push_back(0.05 + 0.001 * i), s.output.push_back(0.0);
  return s;
}
std::vector<double> output_of(const Stretch& s, const LagModel& m) {
  return model_output(s, m, lag_response(s, m)).value;
}
double farthest(const std::vector<double>& a, const std::vector<double>& b) {
  double most = 0.0;
  for (std::size_t i = 0; i < a.size(); ++i) most = std::max(most, std::abs(a[i] - b[i]));
  return most;
}

struct Models {
  std::mt19937_64 random;
  double even(double low, double high) { return std::uniform_real_distribution<double>{low, high}(random); }
  LagModel any(LagOrder order) {
    LagModel m;
    m.order = order;
    m.dead_time = even(0.002, 0.12);
    m.natural = even(25.0, 150.0);
    m.damping = even(0.5, 1.2);
    m.gain = even(0.05, 0.15);
    m.play = even(0.0, 0.2);
    m.friction = even(0.1, 1.0);
    return m;
  }
};

TEST_CASE("where friction stops and starts the motion, a small change of a parameter makes a small change of output") {
  // Stops that are rounded to the grid would let the output jump by what the input moves in a grid cell.
  const std::uint64_t seed = std::random_device{}();
  CAPTURE(seed);
  Models models{std::mt19937_64{seed}};
  const auto s = weave(0.0, 1);
  for (int i = 0; i < 200; ++i) {
    const auto m = models.any(i % 2 == 0 ? LagOrder::first : LagOrder::second);
    const auto before = output_of(s, m);
    for (const int which : {P::shape, P::damping, P::friction}) {
      CAPTURE(i, which, m.natural, m.damping, m.friction);
      CHECK(farthest(before, output_of(s, moved(m, which, 1e-7))) < 1e-5);
    }
  }
}

TEST_CASE("the slopes of the output are those that small differences show") {
  const std::uint64_t seed = std::random_device{}();
  CAPTURE(seed);
  Models models{std::mt19937_64{seed}};
  const auto s = weave(0.0, 1);
  int compared = 0, apart = 0;  // a model may stand at a kink, where both differ by right
  for (int i = 0; i < 40; ++i) {
    auto m = models.any(i % 2 == 0 ? LagOrder::first : LagOrder::second);
    m.offset = 0.13;  // beyond the gap, so that the start is in contact
    std::vector<int> free{P::dead_time, P::gain, P::offset, P::shape, P::play, P::friction};
    if (m.order == LagOrder::second) free.push_back(P::damping);
    const auto told = sloped_output(s, m, free);
    CHECK(told.value == output_of(s, m));
    for (std::size_t j = 0; j < free.size(); ++j) {
      const double by = 1e-5;
      const auto up = output_of(s, moved(m, free[j], by)), down = output_of(s, moved(m, free[j], -by));
      double square = 0.0, off = 0.0;
      for (std::size_t k = 0; k < up.size(); ++k) {
        const double shown = (up[k] - down[k]) / (2.0 * by);
        const double slope = told.slope(static_cast<Eigen::Index>(k), static_cast<Eigen::Index>(j));
        square += shown * shown;
        off += (shown - slope) * (shown - slope);
      }
      ++compared;
      if (std::sqrt(off) > 0.02 * std::sqrt(square)) ++apart;
    }
  }
  CAPTURE(apart);
  CHECK(apart < compared / 20);
}

TEST_CASE("the standstill of a first-order lag with friction is that of the closed form") {
  // v' = (u - v - f) / tau on a ramp u = r t from rest: v stays until u = f, then lags by tau and f / r more; from the
  // definition. Reversal at u = A: v stops where u - v = f on the way down and starts again at u - v = -f.
  LagModel m;
  m.order = LagOrder::first;
  m.natural = 1.0 / 0.02;
  m.friction = 0.5;
  Stretch s;
  s.dt = 0.001;
  const double rate = 33.3;
  for (int i = 0; i < 1001; ++i) s.input.push_back(rate * std::max(0.0, s.dt * i - 0.1));
  const auto response = lag_response(s, m);
  const double start = 0.1 + m.friction / rate;
  for (const double t : {start - 0.003, start + 0.0037, start + 0.05, start + 0.4}) {
    CAPTURE(t);
    const double since = std::max(0.0, t - start), tau = 0.02;
    CHECK(response.value_at(t / s.dt, s.dt) ==
          Approx(rate * (since - tau * (1.0 - std::exp(-since / tau)))).margin(2e-5));
  }
}

}  // namespace
}  // namespace trackrod::test
