// The score `feedback` on a first-order low pass with dead time, whose gain is k / sqrt(1 + (2 pi f tau)^2) and whose
// group delay is L + tau / (1 + (2 pi f tau)^2) (any textbook on linear systems).

#include "tests/score/rig.hpp"

namespace trackrod::test {
namespace {

constexpr double pi = 3.14159265358979323846;
constexpr double dead_time = 0.008, tau = 0.03, per_force = 0.004;  // s, s, Nm/N

// A chirp of the force from 0.4 to 12 Hz over 20 s from 0 on, rest until 21.5 s, then on to 300 N, and at 24 s off.
double force(double t) {
  constexpr double from = 0.4, to = 12.0, length = 20.0, size = 500.0;
  if (t > 0.0 && t < length) {
    const double growth = std::log(to / from) / length;
    const double phase = 2.0 * pi * from * (std::exp(growth * t) - 1.0) / growth;
    return size * std::sin(phase) * std::min({1.0, t / 2.0, (length - t) / 1.0});
  }
  return soft_step(t, 22.0, 0.3, 300.0) - soft_step(t, 24.0, 0.005, 300.0);
}

KnownCapture felt(std::uint64_t seed) {
  SteeredUnit unit;
  unit.dead_time = dead_time;
  unit.first_order = true;
  unit.natural = 1.0 / tau;
  unit.ratio = 1.0 / per_force;
  Sensor cell, hand;
  cell.noise = 1.0, cell.phase = 0.0003;
  hand.noise = 0.004, hand.phase = 0.0007;
  auto c = record(unit, force, 25.5, cell, hand, seed);
  c.infos[0].unit = "N", c.infos[1].unit = "Nm";
  c.all_spans = {{"sweep", 0, at(0.0), at(20.0), true}, {"drop", 0, at(23.7), at(25.5), true}};
  return c;
}

constexpr auto settings = R"({"frequencies": ["1 Hz", "2 Hz", "5 Hz"], "drops": ["drop"]})";

TEST_CASE("gain and delay and what is let through are those of the low pass") {
  const auto result = score("feedback", felt(1), settings);
  const auto slow = [](double f) { return std::pow(2.0 * pi * f * tau, 2); };
  std::vector<Finding> gains, through;
  for (const auto& f : result.findings) {
    if (f.name == "feedback.gain") gains.push_back(f);
    if (f.name == "feedback.let_through") through.push_back(f);
  }
  REQUIRE(gains.size() == 3);
  REQUIRE(through.size() == 3);
  const double frequencies[] = {1.0, 2.0, 5.0};
  for (std::size_t i = 0; i < 3; ++i) {
    const double gain = per_force / std::sqrt(1.0 + slow(frequencies[i]));
    CAPTURE(frequencies[i], gains[i].reason);
    REQUIRE(gains[i].value);
    CHECK(*gains[i].value == Approx(gain).epsilon(0.01));
    CHECK(*through[i].value ==
          Approx(100.0 * std::sqrt((1.0 + slow(1.0)) / (1.0 + slow(frequencies[i])))).epsilon(0.01));
  }
  CHECK(value_of(result, "delay") == Approx(1e3 * (dead_time + tau / (1.0 + slow(1.0)))).margin(1.5));
}

TEST_CASE("a drop of the force shows after dead time and 0.693 time constants, in full") {
  const auto result = score("feedback", felt(2), settings);
  CHECK(value_of(result, "loss_delay") == Approx(1e3 * (dead_time + std::log(2.0) * tau)).margin(0.5));
  // Of the gain at 1 Hz, which is a little less than that at rest.
  CHECK(value_of(result, "loss_depth") ==
        Approx(100.0 * std::sqrt(1.0 + std::pow(2.0 * pi * 1.0 * tau, 2))).margin(1.0));
}

TEST_CASE("no drops or no sweep or no force: each is told") {
  const auto c = felt(3);
  const auto none = score("feedback", c, R"({"frequencies": ["1 Hz", "2 Hz"]})");
  CHECK(finding_of(none, "loss_delay").reason.find("'drops'") != std::string::npos);
  const auto only = score("feedback", c, R"({"frequencies": ["1 Hz", "2 Hz"], "drops": ["drop", "sweep"]})");
  CHECK(finding_of(only, "gain").reason.find("none is left") != std::string::npos);
  CHECK_FALSE(finding_of(only, "loss_depth").value);
  auto still = c;
  for (auto& p : still.samples[1]) p.value = 0.0;
  for (const auto& f : score("feedback", still, settings).findings) {
    CAPTURE(f.name);
    CHECK_FALSE(f.value);
    CHECK_FALSE(f.reason.empty());
  }
  still.all_spans.clear();
  for (const auto& f : score("feedback", still, settings).findings) CHECK(f.verdict == Verdict::not_run);
}

}  // namespace
}  // namespace trackrod::test
