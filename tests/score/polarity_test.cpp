// The score `polarity`: an output that follows, goes the wrong way, stands still, or cannot be told.

#include "tests/score/drawn.hpp"
#include "tests/score/rig.hpp"

namespace trackrod::test {
namespace {

Sensor sensor(double noise, double resolution) {
  Sensor s;
  s.noise = noise;
  s.resolution = resolution;
  return s;
}

// The hand moves by `far` within a second, from 0.3 s on; the road wheel answers by far / ratio.
KnownCapture nudged(double far, double ratio, std::uint64_t seed) {
  SteeredUnit unit;
  unit.ratio = ratio;
  return record(
      unit, [far](double t) { return soft_step(t, 0.3, 1.0, far); }, 2.5, sensor(0.005, 0.001), sensor(0.002, 0.001),
      seed);
}

TEST_CASE("an output that follows its input has direction 1 and its gain inside the interval") {
  for (const double far : {2.0, -2.0}) {
    const auto seed = static_cast<std::uint64_t>(Catch::rngSeed()) + (far > 0.0 ? 0 : 1);
    CAPTURE(seed, far);
    const auto result = score("polarity", nudged(far, 10.0, seed));
    CHECK(value_of(result, "direction") == 1.0);
    const auto gain = finding_of(result, "gain");
    REQUIRE(gain.value);
    CHECK(*gain.value == Approx(0.1).margin(0.002));
    CHECK(std::abs(*gain.value - 0.1) < 3.0 * *gain.standard_uncertainty);
    CHECK(*gain.standard_uncertainty < 0.002);
    CHECK(value_of(result, "change") == Approx(far / 10.0).margin(0.004));
  }
}

TEST_CASE("a sensor with its sign reversed is told as such, and is not put right") {
  const auto result = score("polarity", nudged(2.0, -10.0, 1));
  CHECK(value_of(result, "direction") == -1.0);
  CHECK(value_of(result, "gain") == Approx(-0.1).margin(0.002));
}

TEST_CASE("an output that stands still has direction 0") {
  auto capture = nudged(2.0, 1e9, 2);
  CHECK(value_of(score("polarity", capture), "direction") == 0.0);
}

TEST_CASE("an input that does not move, or a sensor without values, gives no number but a reason") {
  check_all_empty(score("polarity", nudged(0.0, 10.0, 3)), "no motion");
  auto silent = nudged(2.0, 10.0, 4);
  for (auto& point : silent.samples[1]) point.value = std::nan("");
  check_all_empty(score("polarity", silent), "too few");
  auto none = nudged(2.0, 10.0, 5);
  none.all_spans.clear();
  check_all_empty(score("polarity", none), "no complete step");
}

TEST_CASE("the picture shows both signals, and the output's levels with the interval of their difference") {
  const auto result = score("polarity", nudged(2.0, -10.0, 1));
  REQUIRE(result.figures.size() == 1);
  const auto& figure = result.figures[0];
  REQUIRE(figure.curves.size() == 2);
  check_marked(result, "level after", finding_of(result, "change"), figure.marks[0].value);
  CHECK(figure.curves[0].y.back() == Approx(0.2).margin(0.05));   // where the input would have taken it
  CHECK(figure.curves[1].y.back() == Approx(-0.2).margin(0.05));  // where it went
}

}  // namespace
}  // namespace trackrod::test
