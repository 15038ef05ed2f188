// The tyre against what the brush model's closed form says (Fiala; Pacejka, chapter 3; from memory).

#include "harness/load/tyre.hpp"

#include <cmath>

#include "tests/catch.hpp"

namespace trackrod::test {
namespace {

constexpr double stiffness = 90e3, friction = 0.9, load = 10e3;
const Tyre tyre{stiffness, friction, load};

TEST_CASE("at no slip the slope of the force is the cornering stiffness, whatever the grip") {
  const double grip = GENERATE(0.1, 0.5, 1.0, 1.2);
  CAPTURE(grip);
  CHECK(tyre.slope(0.0, grip) == Approx(stiffness));
  CHECK((tyre.force(1e-7, grip) - tyre.force(-1e-7, grip)) / 2e-7 == Approx(stiffness).epsilon(1e-4));
}

TEST_CASE("the greatest force is friction x grip x load, reached at three times that by the stiffness, and kept") {
  const double grip = GENERATE(0.1, 0.5, 1.0, 1.2);
  const double peak = friction * grip * load;
  CAPTURE(grip);
  CHECK(tyre.sliding_slip(grip) == Approx(3.0 * peak / stiffness));
  for (const double beyond : {1.0, 1.5, 100.0}) {
    CHECK(tyre.force(beyond * tyre.sliding_slip(grip), grip) == Approx(peak));
    CHECK(tyre.force(-beyond * tyre.sliding_slip(grip), grip) == Approx(-peak));
  }
  CHECK(tyre.force(0.999 * tyre.sliding_slip(grip), grip) == Approx(peak));
  CHECK(tyre.force(0.9 * tyre.sliding_slip(grip), grip) < peak);
}

TEST_CASE("in between the force is the cubic of the textbook, and the slope its derivative") {
  for (double slip = -0.25; slip < 0.25; slip += 0.01) {
    CAPTURE(slip);
    const double y = stiffness * std::abs(slip), peak = friction * load;
    const double cubic = y - y * y / (3.0 * peak) + y * y * y / (27.0 * peak * peak);
    CHECK(tyre.force(slip, 1.0) == Approx(std::copysign(cubic, slip)).margin(1e-9));
    const double derivative = (tyre.force(slip + 1e-6, 1.0) - tyre.force(slip - 1e-6, 1.0)) / 2e-6;
    CHECK(tyre.slope(slip, 1.0) == Approx(derivative).margin(1.0));
  }
}

TEST_CASE("the trail collapses before the force is greatest") {
  const double sliding = tyre.sliding_slip(1.0), peak = friction * load;
  CHECK(tyre.trail_share(0.0, 1.0) == 1.0);
  CHECK(tyre.trail_share(sliding, 1.0) == 0.0);
  CHECK(tyre.trail_share(2.0 * sliding, 1.0) == 0.0);
  const auto at_share_of_peak = [&](double share) { return sliding * (1.0 - std::cbrt(1.0 - share)); };
  CHECK(tyre.force(at_share_of_peak(0.9), 1.0) == Approx(0.9 * peak));
  CHECK(tyre.trail_share(at_share_of_peak(0.9), 1.0) < 0.2);
  CHECK(tyre.trail_share(at_share_of_peak(0.999), 1.0) < 0.003);
}

TEST_CASE("the moment is greatest at a quarter of the slip from which all slides, where the force is at 37/64") {
  const double sliding = tyre.sliding_slip(1.0);
  const auto moment = [](double slip) { return tyre.force(slip, 1.0) * tyre.trail_share(slip, 1.0); };
  double greatest = 0.0, where = 0.0;
  for (double slip = 0.0; slip < sliding; slip += 1e-5)
    if (moment(slip) > greatest) greatest = moment(slip), where = slip;
  CHECK(where == Approx(0.25 * sliding).margin(2e-5));
  CHECK(tyre.force(where, 1.0) == Approx(37.0 / 64.0 * friction * load).epsilon(1e-4));
  // 27/256 x 3 x the greatest force x the trail at no slip: theta sigma (1 - theta sigma)^3 at a quarter.
  CHECK(greatest == Approx(3.0 * 27.0 / 256.0 * friction * load).epsilon(1e-6));
}

TEST_CASE("without grip there is no force, no slope and no trail") {
  for (const double slip : {0.0, 1e-9, -0.1, 3.0}) {
    CHECK(tyre.force(slip, 0.0) == 0.0);
    CHECK(tyre.slope(slip, 0.0) == 0.0);
    CHECK(tyre.trail_share(slip, 0.0) == 0.0);
  }
}

}  // namespace
}  // namespace trackrod::test
