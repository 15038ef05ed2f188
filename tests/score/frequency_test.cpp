// The score `frequency` on a rig that is known exactly. Truth: the closed form of a dead time and a second-order lag,
// H = exp(-i w L) / ratio * wn^2 / (wn^2 - w^2 + 2 i zeta wn w) (any textbook of control).

#include <complex>
#include <numbers>

#include "tests/score/chirped.hpp"
#include "tests/score/drawn.hpp"
#include "tests/score/rig.hpp"

namespace trackrod::test {
namespace {

// A chirp of 40 s and a second of rest.
KnownCapture swept(const SteeredUnit& unit, double size = 10.0, const Sensor& hand = sensor(0.005, 0.0003),
                   const Sensor& road = sensor(0.002, 0.0007), std::uint64_t seed = 1) {
  auto c = record(unit, chirp(size, 40.0), 41.0, hand, road, seed);
  c.all_spans = {{"chirp", 0, at(0.0), at(40.0), true}};
  return c;
}

const std::string asked = R"({"frequencies": ["0.5 Hz", "1 Hz", "2 Hz", "4 Hz", "6 Hz", "8 Hz", "10 Hz", "12 Hz"]})";
const std::vector<double> frequencies{0.5, 1, 2, 4, 6, 8, 10, 12};

std::vector<Finding> all_of(const ScoreResult& result, const std::string& name) {
  std::vector<Finding> found;
  for (const auto& f : result.findings)
    if (f.name == "frequency." + name) found.push_back(f);
  return found;
}

TEST_CASE("gain, phase and group delay of a dead time and a second-order lag are those of the formula") {
  SteeredUnit unit;
  const auto result = score("frequency", swept(unit), asked);
  const auto gain = all_of(result, "gain"), phase = all_of(result, "phase"), delay = all_of(result, "group_delay"),
             coherence = all_of(result, "coherence");
  REQUIRE(gain.size() == frequencies.size());
  for (std::size_t k = 0; k < frequencies.size(); ++k) {
    const double f = frequencies[k];
    CAPTURE(f, gain[k].reason);
    const auto truth = truth_at(unit, f);
    REQUIRE(gain[k].value);
    CHECK(*gain[k].value == Approx(std::abs(truth)).epsilon(0.003));
    const double wrapped = std::remainder(*phase[k].value - std::arg(truth) * 360.0 / turn, 360.0);
    CHECK(std::abs(wrapped) < 0.3);
    CHECK(*phase[k].value < 0.0);
    CHECK(*delay[k].value == Approx(1e3 * group_delay(unit, f)).margin(1.0));
    CHECK(*coherence[k].value > 0.99);
  }
}

TEST_CASE("the bandwidth is where the gain has fallen by 3 dB: the closed form of a second-order lag") {
  SteeredUnit unit;
  const double z2 = 1.0 - 2.0 * unit.damping * unit.damping;
  const double truth = unit.natural / turn * std::sqrt(z2 + std::sqrt(z2 * z2 + 1.0));
  const auto f = finding_of(score("frequency", swept(unit), asked), "bandwidth");
  REQUIRE(f.value);
  CAPTURE(*f.value, (*f.interval)[0], (*f.interval)[1]);
  CHECK(*f.value == Approx(truth).epsilon(0.01));
  CHECK((*f.interval)[0] <= truth);
  CHECK((*f.interval)[1] >= truth);
  const auto low = finding_of(score("frequency", swept(unit), R"({"frequencies": ["0.5 Hz", "1 Hz"]})"), "bandwidth");
  CHECK_FALSE(low.value);
  CHECK(low.reason.find("higher frequencies") != std::string::npos);
}

TEST_CASE("an output that goes the other way is half a turn off") {
  SteeredUnit unit;
  unit.ratio = -10.0;
  const auto phase = all_of(score("frequency", swept(unit), R"({"frequencies": ["0.5 Hz"]})"), "phase");
  REQUIRE(phase[0].value);
  CHECK(std::abs(std::remainder(*phase[0].value - std::arg(truth_at(unit, 0.5)) * 360.0 / turn, 360.0)) < 0.3);
}

TEST_CASE("a delay of a sensor that the bench does not know moves the phase and leaves the gain alone") {
  auto road = sensor(0.002, 0.0007);
  road.delay = 0.003;
  const SteeredUnit unit;
  const auto right = score("frequency", swept(unit), asked),
             late = score("frequency", swept(unit, 10.0, sensor(0.005, 0.0003), road), asked);
  for (std::size_t k = 0; k < frequencies.size(); ++k) {
    CAPTURE(frequencies[k]);
    CHECK(*all_of(late, "gain")[k].value == Approx(*all_of(right, "gain")[k].value).epsilon(0.002));
    CHECK(*all_of(late, "phase")[k].value - *all_of(right, "phase")[k].value ==
          Approx(-360.0 * 0.003 * frequencies[k]).margin(0.2));
  }
}

TEST_CASE("play and noise that do not follow the input lower the coherence and widen the interval") {
  SteeredUnit loose;
  loose.play = 0.5;
  const auto tight = score("frequency", swept({}, 4.0), asked), slack = score("frequency", swept(loose, 4.0), asked);
  CHECK(*all_of(slack, "coherence")[3].value < *all_of(tight, "coherence")[3].value);
  CHECK(*all_of(slack, "gain")[3].standard_uncertainty > 2.0 * *all_of(tight, "gain")[3].standard_uncertainty);
}

TEST_CASE("what the input does not hold, or the output does not follow, is said and not made up") {
  const auto beyond = all_of(score("frequency", swept({}), R"({"frequencies": ["60 Hz"]})"), "gain");
  CHECK_FALSE(beyond[0].value);
  CHECK(beyond[0].reason.find("hardly moves at this frequency") != std::string::npos);

  auto c = swept({});
  std::mt19937_64 random{1};
  std::normal_distribution<double> noise{0.0, 0.5};
  for (auto& p : c.samples[1]) p.value = noise(random);
  const auto unrelated = all_of(score("frequency", c, R"({"frequencies": ["2 Hz"]})"), "gain");
  CHECK_FALSE(unrelated[0].value);
  CHECK(unrelated[0].reason.find("follows the input") != std::string::npos);

  c = swept({});
  c.all_spans[0].to = at(30.0);
  check_all_empty(score("frequency", c, asked), "moves again");
  c = swept({});
  for (auto& p : c.samples[1]) p.value = 0.5;
  check_all_empty(score("frequency", c, asked), "did not change");
  c.all_spans.clear();
  for (const auto& f : score("frequency", c, asked).findings) CHECK(f.verdict == Verdict::not_run);
}

TEST_CASE("a step too short for lines in the band is told what to do") {
  auto c = record({}, chirp(10.0, 3.0), 4.0, sensor(0.005, 0.0003), sensor(0.002, 0.0007), 1);
  c.all_spans = {{"chirp", 0, at(0.0), at(3.0), true}};
  const auto f = all_of(score("frequency", c, R"({"frequencies": ["1 Hz"]})"), "gain")[0];
  CHECK_FALSE(f.value);
  CHECK(f.reason.find("move for longer") != std::string::npos);
}

TEST_CASE("the Bode plot shows gain and phase at every frequency, and the bandwidth, with their intervals") {
  const auto result = score("frequency", swept({}), asked);
  for (const auto* name : {"gain", "phase"})
    for (const auto& f : all_of(result, name)) check_drawn(result, f);
  check_marked(result, "bandwidth", finding_of(result, "bandwidth"));
  for (const auto& figure : result.figures) CHECK(figure.x_log);
}

}  // namespace
}  // namespace trackrod::test
