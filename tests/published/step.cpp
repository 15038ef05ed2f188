// Step metrics against closed forms (control textbooks: first order with dead time, second order) and against a vector
// that can be checked by hand; definitions after IEEE 181-2011, as restated in documentation of transition metrics.

#include "harness/base/sample.hpp"
#include "harness/score/transition.hpp"
#include "tests/catch.hpp"
#include "tests/published/series_of.hpp"

namespace trackrod::test {
namespace {

Level level(double value) {
  Level l;
  l.value = value;
  l.samples = 100;
  return l;
}

TEST_CASE("the hand-checked transition gives its instants, overshoot and settling") {
  // dt = 1 ms, s1 = 0, s2 = 10; 9 lies half-way between the samples 8 and 10.
  Series s;
  for (const double y : {0, 0, 0, 2, 5, 8, 10, 11, 10, 10, 10}) {
    s.t.push_back(1e-3 * static_cast<double>(s.y.size()));
    s.y.push_back(y);
  }
  s.interval = 1e-3;
  const Transition up{s, level(0), level(10), 0.0};
  CHECK(up.crossing(0.1, 0.0)->t == Approx(2.5e-3));
  CHECK(up.crossing(0.5, 0.0)->t == Approx(4.0e-3));
  CHECK(up.crossing(0.9, 0.0)->t == Approx(5.5e-3));
  CHECK(up.overshoot(0.0).value == Approx(0.10));
  const auto settled = up.settling(0.02, up.crossing(0.5, 0.0)->t, 9e-3);
  REQUIRE(settled);
  CHECK(settled->t == Approx(7.8e-3));

  auto mirrored = s;  // the same transition, falling
  for (auto& y : mirrored.y) y = 10.0 - y;
  const Transition down{mirrored, level(10), level(0), 0.0};
  CHECK(down.change() == -10.0);
  CHECK(down.crossing(0.1, 0.0)->t == Approx(2.5e-3));
  CHECK(down.crossing(0.9, 0.0)->t == Approx(5.5e-3));
  CHECK(down.overshoot(0.0).value == Approx(0.10));
}

TEST_CASE("first order with dead time passes 10, 50 and 90 % when the closed form says, and settles so") {
  // t = L + tau {ln(10/9), ln 2, ln 10}; settling L + tau {ln 20, ln 50} for 5 and 2 %.
  const double dead = 0.012, tau = 0.025;
  const auto s = sampled([&](double t) { return t < dead ? 0.0 : 1.0 - std::exp(-(t - dead) / tau); }, -0.1, 1.0, 1e-4);
  const Transition step{s, level(0), level(1), 0.0};
  CHECK(1e3 * step.crossing(0.1, 0.0)->t == Approx(14.6340).margin(1e-3));
  CHECK(1e3 * step.crossing(0.5, 0.0)->t == Approx(29.3287).margin(1e-3));
  CHECK(1e3 * step.crossing(0.9, 0.0)->t == Approx(69.5646).margin(1e-3));
  CHECK(1e3 * (step.crossing(0.9, 0.0)->t - step.crossing(0.1, 0.0)->t) == Approx(54.9306).margin(1e-3));
  CHECK(step.settling(0.05, 0.0, 0.9)->t == Approx(dead + tau * std::log(20.0)).margin(1e-6));
  CHECK(step.settling(0.02, 0.0, 0.9)->t == Approx(dead + tau * std::log(50.0)).margin(1e-6));
  CHECK_FALSE(step.overshoot(0.0).distinct);
}

struct SecondOrder {
  double zeta, overshoot, t50, rise, settle2, settle5;  // % and in units of 1 / natural frequency
};
// Computed from the textbook closed form of the unit-step response; the "4 / (zeta wn)" rules are not these.
const SecondOrder table[] = {
    {0.1, 72.925, 1.0884, 1.1042, 38.383, 28.968}, {0.2, 52.662, 1.1333, 1.2034, 19.602, 13.744},
    {0.3, 37.233, 1.1822, 1.3213, 11.230, 10.137}, {0.4, 25.383, 1.2356, 1.4635, 8.409, 7.609},
    {0.5, 16.303, 1.2940, 1.6376, 8.076, 5.289},   {0.6, 9.478, 1.3580, 1.8541, 5.943, 5.229},
    {0.7, 4.599, 1.4281, 2.1262, 5.979, 2.900},    {0.8, 1.516, 1.5046, 2.4675, 3.756, 3.385},
    {0.9, 0.152, 1.5880, 2.8830, 4.700, 4.014},    {1.0, 0.0, 1.6783, 3.3579, 5.834, 4.744},
    {2.0, 0.0, 2.8649, 8.2292, 14.878, 11.458}};

double unit_step(double zeta, double x) {  // x = natural frequency * t
  if (x <= 0.0) return 0.0;
  if (zeta < 1.0) {
    const double root = std::sqrt(1.0 - zeta * zeta);
    return 1.0 - std::exp(-zeta * x) * (std::cos(root * x) + zeta / root * std::sin(root * x));
  }
  if (zeta == 1.0) return 1.0 - (1.0 + x) * std::exp(-x);
  const double root = std::sqrt(zeta * zeta - 1.0), slow = zeta - root, fast = zeta + root;
  return 1.0 - (fast * std::exp(-slow * x) - slow * std::exp(-fast * x)) / (2.0 * root);
}

TEST_CASE("second order: overshoot, 50 % instant, rise and settling follow the closed form for every damping") {
  for (const auto& row : table) {
    CAPTURE(row.zeta);
    const double wn = 60.0;
    const auto s = sampled([&](double t) { return unit_step(row.zeta, wn * t); }, -0.1, 80.0 / wn, 1e-4);
    const Transition step{s, level(0), level(1), 0.0};
    CHECK(100.0 * step.overshoot(0.0).value == Approx(row.overshoot).margin(1e-3));
    CHECK(step.overshoot(0.0).distinct == (row.overshoot > 0.0));
    CHECK(wn * step.crossing(0.5, 0.0)->t == Approx(row.t50).margin(2e-4));
    CHECK(wn * (step.crossing(0.9, 0.0)->t - step.crossing(0.1, 0.0)->t) == Approx(row.rise).margin(2e-4));
    CHECK(wn * step.settling(0.02, 0.0, 1.3)->t == Approx(row.settle2).margin(2e-3));
    CHECK(wn * step.settling(0.05, 0.0, 1.3)->t == Approx(row.settle5).margin(2e-3));
  }
}

}  // namespace
}  // namespace trackrod::test
