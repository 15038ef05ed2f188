// The published courses of a supply, held against the figures of their clauses. Sources: the voltages of the 12 V
// starting profile, the overvoltage pulse and the rate of the slow fall from published requirements that cite
// ISO 16750-2 (2012 and 2023); all times, the momentary drop, the reset steps and the 24 V table from memory.

#include <algorithm>
#include <cmath>

#include "harness/plan/supply_profile.hpp"
#include "tests/catch.hpp"
#include "tests/plan/small_bench.hpp"

using namespace trackrod;
using namespace trackrod::test;
using namespace std::chrono_literals;

namespace {

Bench lab_bench(double highest = 40) {
  auto bench = small_bench();
  bench.signals[volts].info.range_high = highest;
  return bench;
}

Motion course(const std::string& profile, const std::string& start, const Bench& bench = lab_bench()) {
  const auto w = work_out(plan_of(R"({"do": "supply", "signal": "volts", "profile": ")" + profile + R"("})",
                                  R"("volts": ")" + start + "\""),
                          {}, bench);
  INFO(w.sentences());
  REQUIRE(w.timeline);
  return w.timeline->steps()[0].channels[0].motion;
}
std::string refusal(const std::string& step, const Bench& bench) {
  const auto w = work_out(plan_of(step, R"("volts": "12 V")"), {}, bench);
  CHECK_FALSE(w.timeline);
  return w.sentences();
}

}  // namespace

TEST_CASE("every published course begins and ends where the supply is, without a jump") {
  for (const auto& profile : supply_profiles()) {
    CAPTURE(profile.name, profile.source);
    for (const auto* start : {"9 V", "13.5 V", "24 V"}) {
      const auto m = course(profile.name, start);
      CHECK(m.end == m.start);
      CHECK(std::isfinite(extent(m).rate));
      CHECK(extent(m).low >= 0);
    }
  }
}

TEST_CASE("the starting profile has the voltages, times and ripple of its table") {
  struct Line {
    std::string name;
    double lowest, turned;         // V
    double fall, turning, length;  // s: to the lowest, at the turned voltage, whole
  };
  const std::string v12 = "starting, 12 V, level ", v24 = "starting, 24 V, level ";
  for (const auto& line : {Line{v12 + "I", 8, 9.5, 0.005, 1, 1.110}, Line{v12 + "II", 4.5, 6.5, 0.005, 10, 10.170},
                           Line{v12 + "III", 3, 5, 0.005, 1, 1.170}, Line{v12 + "IV", 6, 6.5, 0.005, 10, 10.170},
                           Line{v24 + "I", 10, 20, 0.010, 1, 1.150}, Line{v24 + "II", 8, 15, 0.010, 10, 10.210},
                           Line{v24 + "III", 6, 10, 0.010, 1, 1.150}}) {
    CAPTURE(line.name);
    const double start = line.name.starts_with(v24) ? 24 : 12;
    const auto m = course(line.name, start == 24 ? "24 V" : "12 V");
    const auto at = [&](double s) { return m.at(from_seconds(s)); };
    CHECK(m.seconds() == Approx(line.length));
    CHECK(at(0) == start);
    CHECK(at(0.5 * line.fall) == Approx(0.5 * (start + line.lowest)));
    CHECK(at(line.fall) == Approx(line.lowest));
    CHECK(extent(m).low == Approx(std::min(line.lowest, line.turned - 1)));  // or the ripple's trough
    const double turning_from = line.name.starts_with(v24) ? 0.11 : 0.07;
    // 2 V from peak to peak, twice a second: the peaks stand at 1/8 and 3/8 s.
    CHECK(at(turning_from) == Approx(line.turned));
    CHECK(at(turning_from + 0.125) == Approx(line.turned + 1));
    CHECK(at(turning_from + 0.375) == Approx(line.turned - 1));
    CHECK(at(turning_from + line.turning) == Approx(line.turned));
    CHECK(at(line.length) == Approx(start));
  }
}

TEST_CASE("the reset steps go down by a twentieth of the start each time, to nothing") {
  const auto m = course("reset steps", "9 V");
  CHECK(m.seconds() == Approx(20 * 15.02));
  const std::vector<double> lows{8.55, 8.10, 7.65, 7.20, 6.75, 6.30, 5.85, 5.40, 4.95, 4.50};
  for (std::size_t k = 0; k < lows.size(); ++k) {
    CHECK(m.at(from_seconds(15.02 * static_cast<double>(k) + 2.5)) == Approx(lows[k]));
    CHECK(m.at(from_seconds(15.02 * static_cast<double>(k) + 10)) == Approx(9));
  }
  CHECK(m.at(from_seconds(15.02 * 18 + 2.5)) == Approx(0.45));
  CHECK(m.at(from_seconds(15.02 * 19 + 2.5)) == Approx(0).margin(1e-12));
}

TEST_CASE("the slow fall and rise, the momentary drop and the pulse of overvoltage") {
  const auto slow = course("slow fall and rise", "9 V");
  CHECK(extent(slow).rate == Approx(0.5 / 60));
  CHECK(slow.at(from_seconds(18 * 60)) == Approx(0).margin(1e-12));
  const auto drop = course("momentary drop, 12 V", "9 V");
  CHECK(drop.at(60ms) == Approx(4.5));
  CHECK(extent(drop).rate == Approx(4.5 / 0.01));  // edges of no more than 10 ms
  CHECK(drop.seconds() == Approx(0.12));
  CHECK(course("momentary drop, 24 V", "16 V").at(60ms) == Approx(9));
  const auto pulse = course("transient overvoltage, 12 V", "14 V");
  CHECK(pulse.at(200ms) == Approx(18));
  CHECK(pulse.seconds() == Approx(0.402));
}

TEST_CASE("a course beyond the bench's supply, or on what is no voltage, is refused and nothing is bent to fit") {
  const std::string drop = R"({"do": "supply", "signal": "volts", "profile": "momentary drop, 12 V"})";
  auto slow = lab_bench();
  slow.signals[volts].info.max_slew = 100;
  const auto told = refusal(drop, slow);
  CHECK(told.find("750") != std::string::npos);  // (12 - 4.5) V in 10 ms
  CHECK(told.find("100") != std::string::npos);
  CHECK(refusal(R"({"do": "supply", "signal": "volts", "profile": "transient overvoltage, 12 V"})", lab_bench(16))
            .find("18") != std::string::npos);
  CHECK(refusal(R"({"do": "supply", "signal": "load", "profile": "momentary drop, 12 V"})", lab_bench())
            .find("'load' is in N") != std::string::npos);
  CHECK(refusal(R"({"do": "supply", "signal": "volts", "profile": "momentary"})", lab_bench())
            .find("momentary drop, 12 V") != std::string::npos);
}
