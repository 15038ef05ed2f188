#include "harness/plan/motion.hpp"

#include <cmath>
#include <numbers>
#include <random>

#include "harness/plan/moves.hpp"
#include "tests/catch.hpp"

using namespace trackrod;

namespace {

Piece random_piece(std::mt19937& random) {
  std::uniform_real_distribution<double> unit{-1, 1};
  Piece p;
  p.length = 1.5 + unit(random);
  p.c0 = 10 * unit(random);
  if (random() % 2 != 0) {
    p.c1 = 10 * unit(random);
    p.c2 = 10 * unit(random);
    p.c3 = random() % 3 != 0 ? 10 * unit(random) : 0;
  }
  if (random() % 2 != 0) {
    p.amplitude = 5 * unit(random);
    p.rate = 10 + 9 * unit(random);
    p.phase = unit(random);
    if (random() % 3 == 0) p.gain = 4 * unit(random);
    if (p.gain == 0 && random() % 2 == 0) p.growth = 0.5 * unit(random);
    if (random() % 2 != 0) p.fade_in = p.fade_out = 0.4 * p.length;
  }
  return p;
}

}  // namespace

TEST_CASE("the derivatives of a piece are those of its values") {
  const auto seed = std::random_device{}();
  CAPTURE(seed);
  std::mt19937 random{seed};
  for (int i = 0; i < 300; ++i) {
    const auto p = random_piece(random);
    const double h = 1e-5;
    for (const double share : {0.1, 0.37, 0.5, 0.81, 0.95}) {
      const double t = share * p.length;
      const auto before = p.derivatives(t - h), at = p.derivatives(t), after = p.derivatives(t + h);
      REQUIRE(at[0] == p.at(t));
      // Central differences of each derivative give the next one.
      for (std::size_t k = 0; k < 3; ++k)
        REQUIRE((after[k] - before[k]) / (2 * h) ==
                Approx(at[k + 1]).epsilon(1e-4).margin(1e-2 * std::pow(20.0, static_cast<double>(k))));
    }
  }
}

TEST_CASE("the extent of a piece holds every value on a fine grid, and no more") {
  const auto seed = std::random_device{}();
  CAPTURE(seed);
  std::mt19937 random{seed};
  for (int i = 0; i < 200; ++i) {
    const auto p = random_piece(random);
    const auto e = extent(p, 0, p.length);
    Extent grid;
    for (int n = 0; n <= 20000; ++n) {
      const auto d = p.derivatives(p.length * n / 20000);
      grid.include({d[0], d[0], std::abs(d[1]), std::abs(d[2]), std::abs(d[3])});
    }
    CAPTURE(i, p.amplitude, p.rate, p.fade_in);
    REQUIRE(e.low == Approx(grid.low).margin(1e-5));
    REQUIRE(e.high == Approx(grid.high).margin(1e-5));
    REQUIRE(e.rate == Approx(grid.rate).epsilon(1e-4));
    REQUIRE(e.acceleration == Approx(grid.acceleration).epsilon(1e-4).margin(1e-9));
    REQUIRE(e.jerk == Approx(grid.jerk).epsilon(1e-3).margin(1e-9));
    REQUIRE(e.low <= grid.low + 1e-12);
    REQUIRE(e.rate >= grid.rate - 1e-12);
  }
}

TEST_CASE("whole cycles of a sine have the extremes of the formula") {
  Piece p;  // A sin(w t): rate A w, acceleration A w^2, jerk A w^3
  p.amplitude = 20;
  p.rate = 2 * std::numbers::pi * 0.5;
  p.length = 6;
  const auto e = extent(p, 0, p.length);
  CHECK(e.low == -20);
  CHECK(e.high == 20);
  CHECK(e.rate == Approx(20 * std::numbers::pi));
  CHECK(e.acceleration == Approx(20 * std::pow(std::numbers::pi, 2)));
  CHECK(e.jerk == Approx(20 * std::pow(std::numbers::pi, 3)));
}

TEST_CASE("jumps between pieces show as infinite derivatives") {
  Motion step{0};
  move_to(step, 1, {});
  stay(step, 1);
  CHECK(std::isinf(extent(step).rate));
  Motion ramp{0};
  move_to(ramp, 1, {2});
  CHECK(extent(ramp).rate == Approx(2));
  CHECK(std::isinf(extent(ramp).acceleration));
  Motion parabola{0};
  move_to(parabola, 1, {2, 10});
  CHECK(extent(parabola).acceleration == Approx(10));
  CHECK(std::isinf(extent(parabola).jerk));
}

TEST_CASE("a motion finds its piece at any time and keeps its end") {
  Motion m{0};
  for (int i = 1; i <= 100; ++i) move_to(m, i % 2 != 0 ? i : -i, {100.0 * i, 1e5, 1e8});
  for (const auto& p : m.pieces) {
    const double t = p.begin + 0.5 * p.length;
    CHECK(m.at(from_seconds(t)) == Approx(p.at(0.5 * p.length)).margin(1e-4));
  }
  CHECK(m.at(Duration{0}) == Approx(0).margin(1e-12));
  CHECK(m.at(Duration{-5}) == 0);
  CHECK(m.at(from_seconds(m.seconds() + 1)) == m.end);
  CHECK(Motion{7}.at(Duration{0}) == 7);
}

TEST_CASE("times are rounded up to whole nanoseconds, decimal ones not at all") {
  CHECK(rounded_up(0.1).count() == 100'000'000);
  CHECK(rounded_up(1.2).count() == 1'200'000'000);
  CHECK(rounded_up(1e-9 / 3).count() == 1);
}
