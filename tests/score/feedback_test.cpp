// The score `feedback` on a first-order low pass with dead time, whose gain is k / sqrt(1 + (2 pi f tau)^2) and whose
// group delay is L + tau / (1 + (2 pi f tau)^2) (any textbook on linear systems).

#include "tests/score/felt_force.hpp"
#include "tests/score/rig.hpp"

namespace trackrod::test {
namespace {

constexpr double pi = std::numbers::pi;
constexpr double dead_time = Feel{}.dead_time, tau = Feel{}.tau, per_force = Feel{}.per_force;

KnownCapture felt(std::uint64_t seed) {
  Sensor cell, hand;
  cell.noise = 1.0, cell.phase = 0.0003;
  hand.noise = 0.004, hand.phase = 0.0007;
  return felt(Feel{}, cell, hand, seed);
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
