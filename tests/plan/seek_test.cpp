// The element `seek`: which value is tried next, and what a plan may not ask of it.

#include <functional>
#include <random>

#include "tests/catch.hpp"
#include "tests/plan/small_bench.hpp"

using namespace trackrod;
using namespace trackrod::test;
using namespace std::chrono_literals;

namespace {

std::string seek(const std::string& tries, const std::string& more = "") {
  return R"({"do": "seek", "value": "drop", "from": "1 ms", "to": "64 ms", "levels": 64, "tries": )" + tries +
         R"(, "survived": {"signal": "axis.angle", "at_least": "-1 deg", "at_most": "1 deg"}, "watched": ["after"], "steps": [
           {"do": "step", "name": "drop", "signal": "volts", "to": "0 V", "for": "${drop}"},
           {"do": "step", "name": "after", "signal": "volts", "to": "13.5 V", "for": "100 ms"})" +
         more + "]}";
}

// How long each try's drop was, of a unit that is lost in those that `is_lost` says.
std::vector<double> tried(const Timeline& timeline, const std::function<bool(double)>& is_lost) {
  std::vector<double> lengths;
  for (Timeline::Cursor c{timeline}; c.current() != nullptr; c.next()) {
    CHECK(c.current()->watched.has_value() == (c.current()->name == "after"));
    if (c.current()->name == "drop") {
      CHECK(c.cycle() == lengths.size());
      lengths.push_back(1e3 * seconds(c.current()->length));
    } else if (is_lost(lengths.back())) {
      c.lost();
    }
  }
  return lengths;
}

}  // namespace

TEST_CASE("a seek halves the distance first, and then stays within one level of what is just survived") {
  const auto w = work_out(plan_of(seek("20")));
  INFO(w.sentences());
  REQUIRE(w.timeline);
  CHECK(w.timeline->step_count() == 40);
  CHECK(w.timeline->length() == 20 * 164ms);  // as if each try were the hardest
  const double threshold = GENERATE(0.5, 1.5, 23.5, 62.5, 99.0);
  CAPTURE(threshold);
  const auto lengths = tried(*w.timeline, [&](double length) { return length > threshold; });
  REQUIRE(lengths.size() == 20);
  CHECK(lengths.front() == Approx(32.0));
  for (std::size_t i = 8; i < lengths.size(); ++i) CHECK(std::abs(lengths[i] - std::clamp(threshold, 1.0, 64.0)) < 1.6);
}

TEST_CASE("where chance decides, the tries lie about the value that every second one survives") {
  // Survival falls as a normal distribution's tail, mean 30 ms, deviation 3 ms: the mean of an up-and-down method's
  // values estimates the median (Dixon and Mood 1948, from memory).
  const auto seed = std::random_device{}();
  CAPTURE(seed);
  std::mt19937 random{seed};
  std::normal_distribution<double> strength{30.0, 3.0};
  const auto w = work_out(plan_of(seek("4000")));
  REQUIRE(w.timeline);
  const auto lengths = tried(*w.timeline, [&](double length) { return length > strength(random); });
  double sum = 0;
  for (std::size_t i = 50; i < lengths.size(); ++i) sum += lengths[i];
  CHECK(sum / static_cast<double>(lengths.size() - 50) == Approx(30.0).margin(0.8));
}

TEST_CASE("a seek inside a repeat begins anew with each pass") {
  const auto w = work_out(plan_of(R"({"do": "repeat", "times": 2, "steps": [)" + seek("3") + "]}"));
  INFO(w.sentences());
  REQUIRE(w.timeline);
  std::vector<double> lengths;
  for (Timeline::Cursor c{*w.timeline}; c.current() != nullptr; c.next())
    if (c.current()->name == "drop") lengths.push_back(1e3 * seconds(c.current()->length));
  REQUIRE(lengths.size() == 6);
  CHECK(lengths[3] == lengths[0]);
  CHECK(lengths[5] == lengths[2]);
}
