// Moves against closed forms of limited motion. Sources: Biagiotti and Melchiorri, "Trajectory Planning for Automatic
// Machines and Robots", 2008, sections on trapezoidal and double S profiles (from memory; each form follows from
// integrating the constant jerk by hand).

#include "harness/plan/moves.hpp"

#include <cmath>
#include <random>

#include "tests/catch.hpp"

using namespace trackrod;

namespace {

constexpr double infinity = std::numeric_limits<double>::infinity();

double seconds_of(double distance, const Limits& limits) {
  Motion m{5};
  move_to(m, 5 + distance, limits);
  CHECK(m.end == 5 + distance);
  return m.seconds();
}

}  // namespace

TEST_CASE("a move takes the time of the textbook's profile") {
  const double v = 400, a = 4000, j = 1e5;
  CHECK(seconds_of(30, {infinity, infinity, j}) == Approx(std::cbrt(32 * 30 / j)));    // T = (32 D / j)^(1/3)
  CHECK(seconds_of(30, {infinity, a, infinity}) == Approx(2 * std::sqrt(30 / a)));     // T = 2 sqrt(D / a)
  CHECK(seconds_of(30, {v, infinity, infinity}) == Approx(30 / v));                    // T = D / v
  CHECK(seconds_of(100, {v, a, infinity}) == Approx(100 / v + v / a));                 // trapezoid
  CHECK(seconds_of(100, {v, infinity, j}) == Approx(100 / v + 2 * std::sqrt(v / j)));  // S without steady acceleration
  CHECK(seconds_of(100, {v, a, j}) == Approx(100 / v + v / a + a / j));                // all seven segments
  CHECK(seconds_of(-100, {v, a, j}) == Approx(100 / v + v / a + a / j));
  // Steady acceleration but no steady rate: D = v a / j + v^2 / a gives the peak, T = 2 (v / a + a / j).
  const double peak = 300, reached = peak * a / j + peak * peak / a;
  CHECK(seconds_of(reached, {v, a, j}) == Approx(2 * (peak / a + a / j)));
  CHECK(seconds_of(30, {}) == 0);
}

TEST_CASE("a random move reaches its target exactly, never beyond a limit, and is as fast as one of them allows") {
  const auto seed = std::random_device{}();
  CAPTURE(seed);
  std::mt19937 random{seed};
  const auto pick = [&](double low, double high) {
    return std::exp(std::uniform_real_distribution{std::log(low), std::log(high)}(random));
  };
  for (int i = 0; i < 3000; ++i) {
    const bool has_v = random() % 4 != 0, has_a = random() % 3 != 0, has_j = random() % 3 != 0;
    const Limits limits{has_v ? pick(1, 1e4) : infinity, has_a ? pick(10, 1e6) : infinity,
                        has_j ? pick(100, 1e8) : infinity};
    const double from = 100 * (pick(0.01, 1) - 0.5), distance = (random() % 2 != 0 ? 1 : -1) * pick(1e-6, 1e3);
    CAPTURE(limits.slew, limits.acceleration, limits.jerk, from, distance);
    Motion m{from};
    move_to(m, from + distance, limits);
    REQUIRE(m.end == from + distance);
    const auto e = extent(m);
    REQUIRE(e.low >= std::min(from, m.end) - 1e-9 * (1 + std::abs(distance)));
    REQUIRE(e.high <= std::max(from, m.end) + 1e-9 * (1 + std::abs(distance)));
    constexpr double slack = 1 + 1e-7;
    if (has_v) REQUIRE(e.rate <= limits.slew * slack);
    if (has_a) REQUIRE(e.acceleration <= limits.acceleration * slack);
    if (has_j) REQUIRE(e.jerk <= limits.jerk * slack);
    // The highest derivative that is limited is used in full; else the move could be shorter.
    if (has_j)
      REQUIRE(e.jerk == Approx(limits.jerk).epsilon(1e-6));
    else if (has_a)
      REQUIRE(e.acceleration == Approx(limits.acceleration).epsilon(1e-6));
    else if (has_v)
      REQUIRE(e.rate == Approx(limits.slew));
  }
}

TEST_CASE("neighbouring pieces of a move meet in value, rate and acceleration") {
  Motion m{-20};
  move_to(m, 80, {400, 4000, 1e5});
  REQUIRE(m.pieces.size() == 7);
  for (std::size_t i = 1; i < m.pieces.size(); ++i) {
    const auto before = m.pieces[i - 1].derivatives(m.pieces[i - 1].length), after = m.pieces[i].derivatives(0);
    CHECK(before[0] == Approx(after[0]).margin(1e-10));
    CHECK(before[1] == Approx(after[1]).margin(1e-9));
    CHECK(before[2] == Approx(after[2]).margin(1e-7));
  }
  CHECK(m.pieces.front().derivatives(0)[1] == 0);
  CHECK(std::abs(m.pieces.back().derivatives(m.pieces.back().length)[1]) < 1e-9);
}

TEST_CASE("the turning distance is where the integrated reversal turns") {
  for (const Limits limits :
       {Limits{60, 4000, infinity}, Limits{60, infinity, 1e5}, Limits{60, 4000, 1e6}, Limits{60, 100, 1e4}}) {
    Motion m{0};
    Pen pen{m};
    pen.change_rate(60, limits);
    const double at_rate = m.end;
    pen.change_rate(-60, limits);
    CHECK(m.end == Approx(at_rate));
    CHECK(extent(m).high - at_rate == Approx(turning_distance(60, limits)));
  }
  CHECK(turning_distance(60, {60, infinity, infinity}) == 0);
  CHECK(turning_distance(60, {60, 4000, infinity}) == Approx(60.0 * 60 / (2 * 4000)));  // v^2 / (2 a)
}
